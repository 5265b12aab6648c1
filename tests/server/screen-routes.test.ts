import type { FastifyInstance, InjectOptions } from 'fastify';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { silentLogger } from '../../src/foundation/logger.ts';
import { buildServer } from '../../src/server/build-server.ts';
import { LiveHub } from '../../src/server/live-hub.ts';
import { PracticeKeeper } from '../../src/server/practice/practice-keeper.ts';
import { ShotLog } from '../../src/server/shot-log.ts';
import type { Actor } from '../../src/sessions/database/store-context.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';
import { ManualClock } from '../devices/manual-clock.ts';
import { temporaryFolder } from '../helpers/temporary-folder.ts';
import { descriptionBytes, sensorId } from '../sessions/recording/made-recording.ts';
import { madeShot } from './made-shots.ts';

const nowS = 1_764_000_000;
const actor: Actor = { role: 'coach', name: 'Coach A' };
let clock: ManualClock;
let keeper: PracticeKeeper;
let server: FastifyInstance;
let dataFolder = '';

async function open(): Promise<void> {
  const settings = defaultBallSettings;
  keeper = await PracticeKeeper.open({ dataFolder, clock, logger: silentLogger, simulated: true, settings });
  const log = new ShotLog();
  const hub = new LiveHub({ log, clock, version: '1.2.3', runId: 'run1', simulated: true, latestShotCount: 50 });
  server = await buildServer({
    ...{ hub, pageFolder: '/nowhere', port: 8650, logger: silentLogger },
    practice: { keeper: async () => keeper, nowS: () => clock.nowS(), logger: silentLogger },
  });
}
async function close(): Promise<void> {
  await server.close();
  await keeper.close();
}
beforeEach(async () => {
  clock = new ManualClock(nowS);
  dataFolder = temporaryFolder();
  await open();
});
afterEach(close);

async function ask(method: 'GET' | 'POST', url: string, body?: object) {
  const request: InjectOptions = { method, url, headers: { host: '127.0.0.1:8650' } };
  const answer = await server.inject(body === undefined ? request : { ...request, payload: body });
  return { status: answer.statusCode, body: answer.json() };
}

/** A practice runs, as when a sensor sends. */
async function practise(): Promise<string> {
  const state = { sensorId, state: 'streaming', hostTimeS: clock.nowS(), description: descriptionBytes, detail: null };
  keeper.takeState({ ...state, state: 'streaming' });
  await expect.poll(() => keeper.sessionId).not.toBeNull();
  return keeper.sessionId ?? '';
}

async function shoot(
  sessionId: string,
  setId: string | null,
  playerId: string | null,
  values: readonly (number | null)[],
) {
  for (const value of values) {
    clock.jump(5);
    const shot = madeShot(0);
    const pickupToReleaseS =
      value === null ? ({ value: null, reason: 'gap' } as const) : { value, standardError: 0.01 };
    const place = { sessionId, setId, playerId, sensorId, streamIndex: 0, atS: clock.nowS() };
    const measures = { ...shot.measures, pickupToReleaseS };
    await keeper.store.shots.add(place, { shot: { ...shot, measures }, analysisVersion: '1', parameters: {} });
  }
}

test('a first run is one with nothing of before and no player: the practice that runs does not count', async () => {
  expect((await ask('GET', '/api/first-run')).body).toEqual({ isFirstRun: true });
  await practise();
  expect((await ask('GET', '/api/first-run')).body).toEqual({ isFirstRun: true });
  await close();
  await open();
  expect((await ask('GET', '/api/first-run')).body).toEqual({ isFirstRun: false });
});

test('with a player it is no first run', async () => {
  await keeper.store.players.add(actor, { pseudonym: 'Player 07' });
  expect((await ask('GET', '/api/first-run')).body).toEqual({ isFirstRun: false });
});

test('every measure has a definition, what limits it, and the sensors that know it', async () => {
  const { measures } = (await ask('GET', '/api/measures')).body;
  expect(measures).toHaveLength(Object.keys(madeShot(0).measures).length);
  for (const { definition, limits, sensors } of measures) {
    expect(definition.length).toBeGreaterThan(10);
    expect(limits.length).toBeGreaterThan(10);
    expect(['ball', 'arm', 'both', 'arm-modelled']).toContain(sensors);
  }
});

test('all sets that run end at once, and nothing says why', async () => {
  expect(await ask('POST', '/api/sessions/current/end-sets', {})).toMatchObject({ status: 200, body: { sets: [] } });
  const sessionId = await practise();
  const playerId = await keeper.store.players.add(actor, { pseudonym: 'Player 07' });
  await keeper.store.players.giveConsent(actor, playerId, 'record', 'player');
  for (const words of [{}, { player_id: playerId }]) await keeper.store.sessions.startSet(actor, sessionId, words);
  const { body } = await ask('POST', '/api/sessions/current/end-sets', {});
  expect(body.sets).toHaveLength(2);
  for (const { endedS } of body.sets) expect(endedS).toBe(clock.nowS());
  const { body: log } = await ask('GET', '/api/changes?limit=10');
  expect(JSON.stringify(log)).not.toMatch(/hurt|pain/i);
  expect((await ask('POST', '/api/sessions/current/end-sets', { why: 'knee' })).status).toBe(400);
});

test('two sets of one practice stand side by side with medians, counts, gaps and the answer', async () => {
  const sessionId = await practise();
  const sets = [];
  for (const level of [0.8, 1.1]) {
    const setId = await keeper.store.sessions.startSet(actor, sessionId, { kind: 'drill' });
    await shoot(sessionId, setId, null, [null, ...Array.from({ length: 12 }, (_, at) => level + 0.02 * (at % 3))]);
    sets.push(setId);
  }
  const url = `/api/compare?one=set=${sets[0]}&two=set=${sets[1]}&measure=pickupToReleaseS`;
  const { body } = await ask('GET', url);
  expect(body).toMatchObject({ basis: 'shots', answer: 'differ', notes: [] });
  expect(body.one).toMatchObject({ kind: 'set', shotCount: 13, count: 12, practices: 1 });
  expect(body.one.median).toBeCloseTo(0.82, 9);
  expect(body.one.shots).toHaveLength(13);
  expect(body.one.shots[0]).toMatchObject({ value: null, standardError: null });
  expect(body.difference.value).toBeCloseTo(-0.3, 9);
  expect(body.difference.interval95[1]).toBeLessThan(0);
  const itself = await ask('GET', `/api/compare?one=set=${sets[0]}&two=set=${sets[0]}&measure=pickupToReleaseS`);
  expect(itself.body).toMatchObject({ answer: 'open', notes: ['same-shots'] });
});

test('who is not there, or no measure, is refused with a sentence', async () => {
  const missing = await ask('GET', '/api/compare?one=player=x&two=player=y&measure=pickupToReleaseS');
  expect(missing).toMatchObject({ status: 404, body: { error: 'store-missing' } });
  expect((await ask('GET', '/api/compare?one=x&two=set=y&measure=pickupToReleaseS')).status).toBe(400);
  expect((await ask('GET', '/api/compare?one=set=x&two=set=y&measure=height')).status).toBe(400);
});
