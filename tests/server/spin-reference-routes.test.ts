import { writeFileSync } from 'node:fs';
import path from 'node:path';
import fastify from 'fastify';
import { describe, expect, it } from 'vitest';
import { systemClock } from '../../src/devices/system-clock.ts';
import { addSpinReferenceRoutes } from '../../src/server/spin-reference-routes.ts';
import { spinPlayer } from '../../src/server/spin-references.ts';
import { usualPlayer } from '../../src/sessions/database/player-records.ts';
import { JsonWristCalibrationStore } from '../../src/sessions/wrist-calibration/json-wrist-calibration-store.ts';
import { temporaryFolder } from '../helpers/temporary-folder.ts';

const clock = { ...systemClock, nowS: () => 1_800_000_000 };
const url = '/api/spin-references/Player%2007';
const counted = { kind: 'counted', revolutions: 2, frames: 240, frameRateHz: 240 };
const good = { mount: 'back-of-hand', snapDegps: 1100, spin: counted };

/** The club: one player, by the name of the moment. */
const club = { pseudonym: 'Player 07' };
const players = { list: async () => [{ ...usualPlayer, ...club, id: 'id-7', club_id: 'club', created_s: 0 }] };

function served(file = path.join(temporaryFolder(), 'spin-references.json')) {
  const server = fastify();
  addSpinReferenceRoutes(server, new JsonWristCalibrationStore(file), clock, (word) => spinPlayer(players, word));
  return server;
}

describe('/api/spin-references/:player', () => {
  it('keeps, gives and forgets reference shots', async () => {
    const server = served();
    const kept = await server.inject({ method: 'POST', url, payload: good });
    expect(kept.statusCode).toBe(201);
    expect(kept.json()).toMatchObject({ kind: 'kept', count: 1, reference: { addedS: 1_800_000_000, spinRps: 2 } });
    const fromBall = { ...good, spin: { kind: 'ball-sensor', spinRps: 2.1, spinErrorRps: 0.02 } };
    expect((await server.inject({ method: 'POST', url, payload: fromBall })).json()).toMatchObject({ count: 2 });
    const { references } = (await server.inject({ url })).json();
    expect(references.map(({ origin }: { origin: { kind: string } }) => origin.kind)).toEqual(['video', 'ball-sensor']);
    expect((await server.inject({ method: 'DELETE', url })).json()).toEqual({ cleared: 2 });
    expect((await server.inject({ url })).json()).toEqual({ references: [] });
  });

  it('keeps to a player who is called otherwise by now, by name and by id', async () => {
    const server = served();
    await server.inject({ method: 'POST', url, payload: good });
    club.pseudonym = 'Player 70';
    const count = async (word: string) =>
      (await server.inject({ url: `/api/spin-references/${word}` })).json().references.length;
    expect([await count('Player%2070'), await count('id-7'), await count('Player%2007')]).toEqual([1, 1, 0]);
    club.pseudonym = 'Player 07';
  });

  it('refuses nonsense with its reason', async () => {
    const server = served();
    const nonsense = { ...good, spin: { ...counted, revolutions: -1 } };
    const refused = await server.inject({ method: 'POST', url, payload: nonsense });
    expect(refused.statusCode).toBe(422);
    expect(refused.json()).toEqual({
      error: 'revolutions-not-positive',
      message: 'expected more than 0 revolutions (revolutions -1)',
    });
    const slow = await server.inject({ method: 'POST', url, payload: { ...good, snapDegps: 50 } });
    expect(slow.json()).toMatchObject({ error: 'no-snap' });
    expect((await server.inject({ url })).json()).toEqual({ references: [] });
  });

  it.each([
    ['no mount', { snapDegps: 1100, spin: counted }],
    ['text for a number', { ...good, snapDegps: 'fast' }],
    ['no way of knowing the spin', { ...good, spin: { kind: 'guess' } }],
  ])('refuses a body with %s', async (_, payload) => {
    const answer = await served().inject({ method: 'POST', url, payload });
    expect(answer.statusCode).toBe(400);
  });

  it('says what is wrong with the file', async () => {
    const file = path.join(temporaryFolder(), 'spin-references.json');
    writeFileSync(file, '{"schemaVersion":9}');
    const answer = await served(file).inject({ url });
    expect(answer.statusCode).toBe(409);
    expect(answer.json()).toMatchObject({ error: 'spin-file-version' });
  });
});
