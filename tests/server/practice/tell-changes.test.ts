import { afterEach, beforeEach, expect, test } from 'vitest';
import { silentLogger } from '../../../src/foundation/logger.ts';
import type { WriterSocket } from '../../../src/server/client-writer.ts';
import { LiveHub } from '../../../src/server/live-hub.ts';
import { tellChanges } from '../../../src/server/practice/tell-changes.ts';
import { ShotLog } from '../../../src/server/shot-log.ts';
import type { LiveDocument } from '../../../src/server/wire/live-document.ts';
import { ClubStore } from '../../../src/sessions/database/club-store.ts';
import type { Actor } from '../../../src/sessions/database/store-context.ts';
import { ManualClock } from '../../devices/manual-clock.ts';
import { madeResult } from '../../sessions/database/opened-store.ts';
import { shotEvent } from '../made-shots.ts';

const nowS = 1_764_000_000;
const actor: Actor = { role: 'coach', name: 'Coach A' };
let clock: ManualClock;
let store: ClubStore;
let hub: LiveHub;
let log: ShotLog;
let sessionId = '';

beforeEach(async () => {
  clock = new ManualClock(nowS);
  store = await ClubStore.open({ file: ':memory:', nowS: () => clock.nowS() });
  log = new ShotLog();
  hub = new LiveHub({ log, clock, version: '1.2.3', runId: 'run', simulated: true, latestShotCount: 50 });
  const words = { name: '', timeZone: 'UTC', simulated: true, recording: null, settings: {} };
  sessionId = await store.sessions.start(actor, words);
  await tellChanges(store, hub, silentLogger);
});
afterEach(() => store.close());

/** A client that takes all at once. */
function client(knowsNames: boolean, since: number | null = null): LiveDocument[] {
  const received: LiveDocument[] = [];
  const socket: WriterSocket = {
    bufferedAmount: 0,
    send: (text, done) => {
      received.push(JSON.parse(text) as LiveDocument);
      queueMicrotask(() => done());
    },
    terminate: () => {},
  };
  hub.connect(socket, since, knowsNames);
  return received;
}

const changes = (received: readonly LiveDocument[]) =>
  received.flatMap((document) => (document.kind === 'change' ? [[document.topic, document.sessionId]] : []));
const names = (received: readonly LiveDocument[]) =>
  received.flatMap((document) =>
    document.kind === 'roster' ? [document.players.map(({ name, display }) => ({ name, display }))] : [],
  );

test('tells the topic and the session of what is changed, after it is on the disk, and nothing of a change that failed', async () => {
  const received = client(true);
  const setId = await store.sessions.startSet(actor, sessionId, { kind: 'drill' }, [{ factor: 'dip', level: 'none' }]);
  expect(changes(received)).toEqual([['set', sessionId]]);
  await store.sessions.changeSet(actor, setId, { ended: true });
  const count = received.length;
  await expect(store.sessions.changeSet(actor, 'nowhere', { ended: true })).rejects.toThrow('nowhere');
  expect(received).toHaveLength(count);
  expect(received.map(({ seq }) => seq)).toEqual(received.map(({ seq }) => seq).toSorted((a, b) => a - b));
});

test('a client that comes back gets one change of each topic that it missed', async () => {
  const before = log.lastSeq;
  const setId = await store.sessions.startSet(actor, sessionId, { kind: 'drill' }, []);
  for (const name of ['one', 'two', 'three']) await store.sessions.changeSet(actor, setId, { name });
  await store.players.add(actor, { pseudonym: 'Player 07' });
  const received = client(true, before);
  expect(changes(received)).toEqual([
    ['set', sessionId],
    ['player', null],
  ]);
});

test('names go to those who may know them: all to a coach, to others those who agreed to being shown', async () => {
  const coach = client(true);
  const viewer = client(false);
  const id = await store.players.add(actor, { pseudonym: 'Player 07' });
  await store.players.add(actor, { pseudonym: 'Player 11' });
  await store.players.giveConsent(actor, id, 'display', 'parent');
  await expect
    .poll(() => names(coach).at(-1))
    .toEqual([
      { name: 'Player 07', display: true },
      { name: 'Player 11', display: false },
    ]);
  expect(names(viewer).at(-1)).toEqual([{ name: 'Player 07', display: true }]);
  expect(JSON.stringify(viewer)).not.toContain('Player 11');
  await store.players.withdrawConsent(actor, id, 'display');
  await expect.poll(() => names(viewer).at(-1)).toEqual([]);
  // One that comes now gets the same.
  expect(names(client(false))).toEqual([[]]);
});

test('a shot is told again with its player and outcome, and keeps its place', async () => {
  const playerId = await store.players.add(actor, { pseudonym: 'Player 07' });
  await store.players.giveConsent(actor, playerId, 'record', 'player');
  const received = client(false);
  const told = [];
  for (const index of [0, 1]) {
    const document = hub.prepare(shotEvent(index));
    if (document.kind !== 'shot') throw new Error('expected a shot');
    const { seq, shot: _, ...head } = document;
    const place = { sessionId, sensorId: null, sensorIds: [], streamIndex: 0, atS: nowS + index };
    await store.shots.addLive(place, madeResult(index), { seq, head });
    hub.tell(document);
    told.push(document);
    clock.jump(5);
  }
  const [first] = told;
  const [id = ''] = await store.shots.idsOf([first?.shotId ?? '']);
  await store.shots.tag(actor, [id], { outcome: 'make' });
  await store.shots.assign(actor, [id], playerId);
  const shots = received.filter((document) => document.kind === 'shot');
  expect(shots.at(-1)).toMatchObject({ shotId: first?.shotId, outcome: 'make', playerId, at: first?.at });
  // Nothing of the name.
  expect(JSON.stringify(shots)).not.toContain('Player 07');
  const late = client(false).filter((document) => document.kind === 'shot');
  expect(late.map(({ shotId }) => shotId).toSorted()).toEqual(told.map(({ shotId }) => shotId).toSorted());
  expect(log.latestShots(1).map(({ document }) => document.shotId)).toEqual([told[1]?.shotId]);
});

test('a change waits for a shot that has a number and is not told yet: numbers rise', async () => {
  const received = client(true);
  const document = hub.prepare(shotEvent(0));
  await store.sessions.startSet(actor, sessionId, { kind: 'drill' }, []);
  expect(changes(received)).toEqual([]);
  hub.tell(document);
  expect(changes(received)).toEqual([['set', sessionId]]);
  const numbered = received.filter(({ kind }) => kind === 'shot' || kind === 'change').map(({ seq }) => seq);
  expect(numbered).toEqual(numbered.toSorted((a, b) => a - b));
});
