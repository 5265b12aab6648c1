import { statSync } from 'node:fs';
import path from 'node:path';
import type { FastifyInstance, InjectOptions } from 'fastify';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { silentLogger } from '../../../src/foundation/logger.ts';
import { buildServer } from '../../../src/server/build-server.ts';
import { LiveHub } from '../../../src/server/live-hub.ts';
import { PracticeKeeper } from '../../../src/server/practice/practice-keeper.ts';
import { ShotLog } from '../../../src/server/shot-log.ts';
import { defaultBallSettings } from '../../../src/shots/shot.ts';
import { ManualClock } from '../../devices/manual-clock.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';
import {
  descriptionBytes,
  madeNotifications,
  readRecording,
  sensorId,
} from '../../sessions/recording/made-recording.ts';
import { shotDocument } from '../made-shots.ts';

const nowS = 1_764_000_000;
const streaming = {
  sensorId,
  state: 'streaming',
  hostTimeS: nowS,
  description: descriptionBytes,
  detail: null,
} as const;

let server: FastifyInstance;
let keeper: PracticeKeeper;
let clock: ManualClock;

beforeEach(async () => {
  clock = new ManualClock(nowS);
  const dataFolder = temporaryFolder();
  const practice = { dataFolder, clock, logger: silentLogger, simulated: false, settings: defaultBallSettings };
  keeper = await PracticeKeeper.open(practice);
  const hub = new LiveHub({
    ...{ log: new ShotLog(), clock, version: '1.2.3', runId: 'run1', simulated: true, latestShotCount: 50 },
  });
  server = await buildServer({
    ...{ hub, pageFolder: '/nowhere', port: 8650, logger: silentLogger },
    practice: { keeper: async () => keeper, nowS: () => clock.nowS(), logger: silentLogger },
  });
});
afterEach(async () => {
  await server.close();
  await keeper.close();
});

async function ask(method: 'GET' | 'POST' | 'PATCH' | 'PUT', url: string, body?: object) {
  const request: InjectOptions = { method, url, headers: { host: '127.0.0.1:8650' } };
  const answer = await server.inject(body === undefined ? request : { ...request, payload: body });
  return { status: answer.statusCode, body: answer.body === '' ? null : answer.json() };
}

async function done(method: 'GET' | 'POST' | 'PATCH' | 'PUT', url: string, body?: object) {
  const answer = await ask(method, url, body);
  expect(answer.status, JSON.stringify(answer.body)).toBeLessThan(300);
  return answer.body;
}

async function addPlayer(pseudonym: string): Promise<string> {
  const { id } = await done('POST', '/api/players', { pseudonym, by: 'Coach A' });
  await done('POST', `/api/players/${id}/consents`, { scope: 'record', givenByRole: 'parent' });
  return id;
}

/** Begins a practice and lets a sensor see some shots. */
async function shoot(count: number, first = 0): Promise<void> {
  if (keeper.sessionId === null) keeper.takeState(streaming);
  for (let index = first; index < first + count; index++) {
    clock.jump(10);
    const document = { ...shotDocument(index), sensorId, hostTimeS: clock.nowS() };
    expect(await keeper.keep(document, { streamIndex: 0 })).toMatchObject({ isKept: true });
  }
}

const stored = async (): Promise<{ id: string; playerId: string | null; setId: string | null; outcome: string }[]> =>
  (await done('GET', '/api/sessions/current/shots')).shots;

it('refuses a condition that a set would have twice, and starts no set', async () => {
  await shoot(1);
  const factors = [
    { factor: 'footwork', level: 'hop' },
    { factor: 'footwork', level: 'one-two' },
  ];
  const answer = await ask('POST', '/api/sessions/current/sets', { factors });
  expect(answer.status).toBe(400);
  expect(answer.body.message).toContain('"footwork" came twice');
  expect((await done('GET', '/api/sessions/current')).sets).toEqual([]);
});

describe('shots of a session', () => {
  it('are given from the newest back, page by page, with how many lie before', async () => {
    await shoot(7);
    const ids = (await stored()).map(({ id }) => id);
    const newest = await done('GET', '/api/sessions/current/shots?newest=true&limit=3');
    expect(newest.shots.map(({ id }: { id: string }) => id)).toEqual(ids.slice(4));
    expect(newest.earlier).toBe(4);
    const older = ({ atS, id }: { atS: number; id: string }) => `beforeS=${atS}&beforeId=${id}`;
    const page = await done('GET', `/api/sessions/current/shots?newest=true&limit=3&${older(newest.shots[0])}`);
    expect(page.shots.map(({ id }: { id: string }) => id)).toEqual(ids.slice(1, 4));
    expect(page.earlier).toBe(1);
    const rest = await done('GET', `/api/sessions/current/shots?newest=true&limit=3&${older(page.shots[0])}`);
    expect(rest).toMatchObject({ shots: [{ id: ids[0] }], earlier: 0 });
    expect(await done('GET', `/api/sessions/current/shots?newest=true&${older(rest.shots[0])}`)).toEqual({
      ...{ shots: [], earlier: 0 },
    });
    for (const mixed of ['newest=true&afterS=5', older(newest.shots[0])]) {
      expect(await ask('GET', `/api/sessions/current/shots?${mixed}`)).toMatchObject({
        ...{ status: 400, body: { message: expect.stringContaining('newest=true') } },
      });
    }
  });

  it('are counted by player and set beside the session', async () => {
    await shoot(3);
    const one = await addPlayer('Player 01');
    await done('POST', '/api/shots/assign', { which: { newestOf: 'current' }, playerId: one });
    const set = await done('POST', '/api/sessions/current/sets', { kind: 'drill' });
    await shoot(2, 3);
    const { shotsOf } = await done('GET', '/api/sessions/current');
    expect(shotsOf).toHaveLength(3);
    expect(shotsOf).toEqual(
      expect.arrayContaining([
        { playerId: null, setId: null, count: 2 },
        { playerId: one, setId: null, count: 1 },
        { playerId: null, setId: set.id, count: 2 },
      ]),
    );
  });
});

describe('whose a shot is', () => {
  it('follows the round of the roster, passing over who has withdrawn', async () => {
    const players = [await addPlayer('Player 01'), await addPlayer('Player 02'), await addPlayer('Player 03')];
    await shoot(1);
    await done('POST', '/api/sessions/current/rotations', { playerIds: players, shotsEach: 2 });
    await shoot(3, 1);
    await done('POST', `/api/players/${players[2]}/consents/record/withdraw`, {});
    await shoot(3, 4);
    const owners = (await stored()).map(({ playerId }) => players.indexOf(playerId ?? ''));
    expect(owners).toEqual([-1, 0, 0, 1, 1, 0, 0]);
    const { rotations } = await done('GET', '/api/sessions/current');
    expect(rotations).toMatchObject([{ turn: 4, shotsInTurn: 0, nextPlayerId: players[1] }]);
    await done('PATCH', `/api/rotations/${rotations[0].id}`, { turn: 3 });
    await shoot(1, 7);
    expect((await stored()).at(-1)?.playerId).toBe(players[0]);
    await done('PATCH', `/api/rotations/${rotations[0].id}`, { ended: true });
    await shoot(1, 8);
    expect((await stored()).at(-1)?.playerId).toBeNull();
  });

  it('is first of all that of the owner of the sensor', async () => {
    const owner = await addPlayer('Player 01');
    const other = await addPlayer('Player 02');
    await shoot(1);
    await done('PATCH', `/api/known-sensors/${sensorId}`, { ownerPlayerId: owner });
    await done('POST', '/api/sessions/current/rotations', { playerIds: [other], shotsEach: 5 });
    await done('POST', '/api/sessions/current/sets', { playerId: other, kind: 'drill' });
    const own = await done('POST', '/api/sessions/current/sets', { playerId: owner, kind: 'test', distanceM: 4.6 });
    await shoot(1, 1);
    expect((await stored()).at(-1)).toMatchObject({ playerId: owner, setId: own.id });
  });

  it('is that of the player of the one set that runs, and of nobody where two run', async () => {
    const one = await addPlayer('Player 01');
    const two = await addPlayer('Player 02');
    await shoot(1);
    const first = await done('POST', '/api/sessions/current/sets', {
      ...{ playerId: one, kind: 'test', spot: 'left elbow', distanceM: 4.6 },
      factors: [{ factor: 'footwork', level: 'hop' }],
    });
    expect(first).toMatchObject({ factors: [{ factor: 'footwork', level: 'hop' }], total: null });
    await shoot(1, 1);
    const second = await done('POST', '/api/sessions/current/sets', { playerId: two });
    await shoot(1, 2);
    await done('PATCH', `/api/sets/${first.id}`, { ended: true, total: { made: 31, attempted: 50 } });
    await shoot(1, 3);
    const shots = await stored();
    expect(shots.map(({ playerId, setId }) => [playerId, setId])).toEqual([
      [null, null],
      [one, first.id],
      [null, null],
      [two, second.id],
    ]);
  });

  it('can be said with one tap, or for a range of shots, and be undone', async () => {
    const one = await addPlayer('Player 01');
    const two = await addPlayer('Player 02');
    await shoot(5);
    await done('POST', '/api/shots/assign', { which: { newestOf: 'current' }, playerId: one });
    const range = { sessionId: 'current', from: 2, to: 4 };
    await done('POST', '/api/shots/assign', { which: range, playerId: two, by: 'Coach A' });
    const owners = async () => (await stored()).map(({ playerId }) => playerId);
    expect(await owners()).toEqual([null, two, two, two, one]);
    const { changes } = await done('GET', '/api/changes?limit=1');
    expect(changes).toMatchObject([{ byRole: 'host', byName: 'Coach A', action: 'assign 3 shots', rowCount: 3 }]);
    await done('POST', `/api/changes/${changes[0].id}/undo`, {});
    expect(await owners()).toEqual([null, null, null, null, one]);
    expect(await ask('POST', `/api/changes/${changes[0].id}/undo`, {})).toMatchObject({
      status: 409,
      body: { error: 'edit-superseded' },
    });
    expect(
      await ask('POST', '/api/shots/assign', { which: { ...range, from: 9, to: 12 }, playerId: two }),
    ).toMatchObject({ status: 400, body: { error: 'store-value' } });
  });

  it('is not kept at all, nor recorded, without consent of the owner of the sensor', async () => {
    const { id } = await done('POST', '/api/players', { pseudonym: 'Player 09' });
    await shoot(1);
    const sent = madeNotifications(300);
    for (const notification of sent.slice(0, 100)) keeper.takeNotification(notification);
    await done('PATCH', `/api/known-sensors/${sensorId}`, { ownerPlayerId: id });
    for (const notification of sent.slice(100, 200)) keeper.takeNotification(notification);
    expect(await keeper.keep({ ...shotDocument(1), sensorId }, { streamIndex: 0 })).toEqual({ isKept: false });
    await done('POST', `/api/players/${id}/consents`, { scope: 'record', givenByRole: 'player' });
    for (const notification of sent.slice(200)) keeper.takeNotification(notification);
    await shoot(1, 2);
    expect(await stored()).toHaveLength(2);
    const session = await keeper.store.sessions.get(keeper.sessionId ?? '');
    const file = path.join(keeper.recordingsFolder, session.recording ?? '');
    await keeper.close();
    const { entries } = await readRecording(file);
    expect(entries.filter(({ kind }) => kind === 'notification')).toHaveLength(200);
  });
});

describe('outcomes', () => {
  it('are told by key, for the name that the live stream gave', async () => {
    await shoot(2);
    const body = { which: { shotIds: ['run.ball-a.0.1'] }, outcome: 'miss', missSide: 'short' };
    const { shotIds } = await done('POST', '/api/shots/tag', body);
    const shots = await stored();
    expect(shots[1]).toMatchObject({ id: shotIds[0], shotId: 'run.ball-a.0.1', outcome: 'miss', missSide: 'short' });
    const { changes } = await done('GET', '/api/shots/run.ball-a.0.1/changes');
    expect(changes).toMatchObject([{ action: 'tag shot', after: { outcome: 'miss' } }]);
    expect(await ask('POST', '/api/shots/tag', { which: { shotIds: ['none'] }, outcome: 'make' })).toMatchObject({
      status: 404,
      body: { error: 'store-missing', message: expect.stringContaining('no shot') },
    });
  });

  it('stand in a set of their session, with its conditions', async () => {
    await shoot(3);
    const set = await done('POST', '/api/sessions/current/sets', { kind: 'drill', name: 'one hand' });
    await done('PUT', `/api/sets/${set.id}/factors/footwork`, { level: 'one-two' });
    await done('POST', '/api/shots/put-into-set', { which: { sessionId: 'current', from: 1, to: 2 }, setId: set.id });
    expect((await stored()).map(({ setId }) => setId)).toEqual([set.id, set.id, null]);
    const { sets } = await done('GET', '/api/sessions/current');
    expect(sets).toMatchObject([
      { kind: 'drill', name: 'one hand', factors: [{ factor: 'footwork', level: 'one-two' }] },
    ]);
  });
});

describe('marks', () => {
  it('are refused while no practice runs', async () => {
    expect(await ask('POST', '/api/marks', {})).toMatchObject({ status: 409, body: { error: 'no-session' } });
  });

  it('stand in database and recording with clock and uncertainty', async () => {
    await shoot(1);
    const byKey = await done('POST', '/api/marks', { origin: 'key', name: 'clap' });
    expect(byKey).toMatchObject({ atS: nowS + 10, uncertaintyS: 0.1, clock: 'host', origin: 'key', name: 'clap' });
    const byApi = await done('POST', '/api/marks', { agoS: 2.5, uncertaintyS: 0.004 });
    expect(byApi).toMatchObject({ atS: nowS + 7.5, uncertaintyS: 0.004, origin: 'api' });
    keeper.takeTaps({
      ...{ atS: nowS + 9, uncertaintyS: 0.003, origin: 'taps' },
      sensor: { sensorId, streamIndex: 0, sensorTimeS: 4.25 },
    });
    await expect.poll(async () => (await done('GET', '/api/sessions/current')).marks).toHaveLength(3);
    const { marks } = await done('GET', '/api/sessions/current');
    expect(marks[1]).toMatchObject({ clock: 'sensor', origin: 'taps', sensorId, sensorTimeS: 4.25 });
    const { recording } = await keeper.store.sessions.get(keeper.sessionId ?? '');
    await keeper.close();
    const { reader } = await readRecording(path.join(keeper.recordingsFolder, recording ?? ''));
    const noted = reader.notes.filter(({ kind }) => kind === 'mark').map(({ document }) => document);
    expect(noted).toEqual([
      { atS: nowS + 10, uncertaintyS: 0.1, clock: 'host', origin: 'key', name: 'clap' },
      { atS: nowS + 7.5, uncertaintyS: 0.004, clock: 'host', origin: 'api', name: '' },
      {
        ...{ atS: nowS + 9, uncertaintyS: 0.003, clock: 'sensor', origin: 'taps', name: '' },
        ...{ sensorId, streamIndex: 0, sensorTimeS: 4.25 },
      },
    ]);
  });
});

describe('recordings', () => {
  it('have a size, and are kept as the club chooses', async () => {
    await shoot(1);
    for (const notification of madeNotifications(300)) keeper.takeNotification(notification);
    await expect
      .poll(async () => (await done('GET', '/api/sessions')).sessions[0].recordingBytes)
      .toBeGreaterThan(10_000);
    const { recording, recordingBytes } = (await done('GET', '/api/sessions/current')).session;
    expect(statSync(path.join(keeper.recordingsFolder, recording)).size).toBe(recordingBytes);
    expect(await done('GET', '/api/keep')).toMatchObject({
      policy: { days: null, bytes: null },
      goes: [],
      text: expect.stringContaining('Every recording is kept'),
    });
    await done('PUT', '/api/keep', { days: 30, bytes: 2e9 });
    clock.jump(31 * 86_400);
    // The one that is being written never goes.
    expect(await done('GET', '/api/keep')).toMatchObject({ policy: { days: 30, bytes: 2e9 }, goes: [] });
    expect((await done('PATCH', '/api/sessions/current', { starred: true })).starred).toBe(true);
    expect(await ask('PUT', '/api/keep', { days: -1, bytes: null })).toMatchObject({ status: 400 });
  });
});

it('says what was expected where a request makes no sense', async () => {
  await shoot(1);
  expect(await ask('POST', '/api/sessions/current/sets', { kind: 'game' })).toMatchObject({ status: 400 });
  expect(await ask('POST', '/api/sessions/current/sets', { distanceM: 99 })).toMatchObject({
    status: 400,
    body: { message: expect.stringContaining('expected a number from 0.5 to 30') },
  });
  expect(await ask('GET', '/api/sessions/none')).toMatchObject({ status: 404, body: { error: 'store-missing' } });
  expect(await ask('POST', '/api/players', { pseudonym: 'x', height: 2 })).toMatchObject({
    status: 400,
    body: { error: 'bad-request', message: expect.stringContaining('height') },
  });
  expect(await ask('GET', '/api/sessions?limit=many')).toMatchObject({
    status: 400,
    body: { message: expect.stringContaining('limit') },
  });
});

it('takes nothing for something else', async () => {
  await shoot(1);
  const set = await done('POST', '/api/sessions/current/sets', { distanceM: 4.6, playerId: null });
  expect(set).toMatchObject({ distanceM: 4.6, playerId: null });
  expect(await done('PATCH', `/api/sets/${set.id}`, { distanceM: null })).toMatchObject({ distanceM: null });
  expect(await ask('PATCH', `/api/sets/${set.id}`, { distanceM: '4' })).toMatchObject({ status: 400 });
  await done('POST', '/api/shots/assign', { which: { newestOf: 'current' }, playerId: null });
  expect((await stored())[0]?.playerId).toBeNull();
});
