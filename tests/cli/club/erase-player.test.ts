import { existsSync, mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { beforeEach, expect, it } from 'vitest';
import { requireNothingLeft } from '../../../src/cli/club/erase-player.ts';
import { ReplaySource } from '../../../src/devices/replay-source.ts';
import { systemClock } from '../../../src/devices/system-clock.ts';
import { databaseFile, recordingsFolder } from '../../../src/server/practice/practice-keeper.ts';
import { startService } from '../../../src/server/service.ts';
import { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { RecordingWriter } from '../../../src/sessions/recording/recording-writer.ts';
import { defaultBallSettings } from '../../../src/shots/shot.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';
import { coach, madeResult } from '../../sessions/database/opened-store.ts';
import {
  descriptionBytes,
  madeNotifications,
  readRecording,
  sensorId,
} from '../../sessions/recording/made-recording.ts';
import { runCli } from '../run-cli.ts';

let dataFolder: string;
let erased: string;
const notifications = madeNotifications(4000);
const startS = notifications[0]?.hostTimeS ?? 0;

const run = (...words: string[]) => runCli(words, { readConfig: () => ({ port: 0, dataFolder, pageFolder: '' }) });

/** Two players who share a session, and one session of the first alone; both recorded. */
beforeEach(async () => {
  dataFolder = temporaryFolder();
  mkdirSync(path.join(dataFolder, recordingsFolder));
  const store = await ClubStore.open({ file: path.join(dataFolder, databaseFile), nowS: () => startS });
  const players: string[] = [];
  for (const pseudonym of ['Zebra Stripe', 'Player 02']) {
    const id = await store.players.add(coach, { pseudonym, notes: pseudonym === 'Zebra Stripe' ? 'left ankle' : '' });
    await store.players.giveConsent(coach, id, 'record', 'parent');
    players.push(id);
  }
  erased = players[0] as string;
  await store.players.seeSensor({ id: sensorId, placement: 'ball', description: '00' });
  await store.players.changeSensor(coach, sensorId, { owner_player_id: erased });
  for (const [recording, who] of [
    ['shared.mcap', [0, 1]],
    ['alone.mcap', [0, 0]],
  ] as const) {
    const writer = await RecordingWriter.create(path.join(dataFolder, recordingsFolder, recording));
    await writer.describe(sensorId, descriptionBytes, startS);
    for (const notification of notifications) await writer.add(notification);
    await writer.note('mark', { name: 'zebra stripe begins', origin: 'key' }, startS + 20);
    await writer.close();
    const words = { name: "Zebra Stripe's Tuesday", timeZone: 'UTC', simulated: false, recording, settings: {} };
    const sessionId = await store.sessions.start(coach, words);
    await store.sessions.change({ role: 'player', name: 'Zebra Stripe' }, sessionId, { starred: true });
    await store.rotations.start(coach, sessionId, { playerIds: players, shotsEach: 3 });
    const mark = { atS: startS + 20, uncertaintyS: 0.1, origin: 'key', name: 'Zebra Stripe begins' } as const;
    await store.marks.add(coach, sessionId, mark);
    const setId = await store.sessions.startSet(coach, sessionId, { player_id: erased }, [{ factor: 'a', level: 'b' }]);
    for (const [index, player] of who.entries()) {
      const atS = startS + 25 + 40 * index;
      const place = { sessionId, setId, playerId: null, sensorId, streamIndex: 0, atS };
      const id = await store.shots.add(place, madeResult(index));
      // Given to the first, then to whom it belongs: the log remembers both.
      await store.shots.assign(coach, [id], erased);
      await store.shots.assign(coach, [id], players[player] as string);
    }
  }
  // What the program lays beside the database, and the player's reference shots.
  await store.backupTo(path.join(dataFolder, `${databaseFile}.before-003-analysed-version`));
  await store.close();
  const reference = ['--mount', 'back-of-hand', '--snap', '1100', '--spin', '2', '--spin-error', '0.02'];
  expect((await run('spin-reference', 'add', 'Zebra Stripe', ...reference)).code).toBe(0);
});

function everyByte(): string {
  const parts = readdirSync(dataFolder, { recursive: true, withFileTypes: true })
    .filter((entry) => entry.isFile() && entry.name !== 'erased-players.txt')
    .map((entry) => readFileSync(path.join(entry.parentPath, entry.name), 'latin1'));
  return parts.join('');
}

it('asks before it deletes', async () => {
  expect(await run('players', 'erase', 'Zebra Stripe')).toMatchObject({
    code: 2,
    stderr: expect.stringContaining('delete Zebra Stripe with 3 shots for good, in recordings too: say --yes'),
  });
});

it('leaves no byte of the player in the data folder, and everything of the others', async () => {
  expect(everyByte()).toContain('Zebra Stripe');
  expect(await run('players', 'erase', 'Zebra Stripe', '--yes')).toMatchObject({
    code: 0,
    stdout: expect.stringMatching(
      /1 recordings deleted, 1 cut, 1 older copies of the database deleted[\s\S]*Every file of the data folder was looked through: nothing is left/,
    ),
  });
  const bytes = everyByte().toLowerCase();
  for (const trace of ['zebra stripe', 'left ankle', erased]) expect(bytes.includes(trace), trace).toBe(false);
  const file = path.join(dataFolder, recordingsFolder, 'shared.mcap');
  expect(existsSync(path.join(dataFolder, recordingsFolder, 'alone.mcap'))).toBe(false);
  const { reader, entries } = await readRecording(file);
  expect(reader.damage()).toMatchObject({ isClosed: true, damagedChunks: 0 });
  const times = entries.filter(({ kind }) => kind === 'notification').map(({ hostTimeS }) => hostTimeS - startS);
  expect(times.filter((t) => t >= 10 && t < 35)).toEqual([]);
  expect(times.filter((t) => t < 10 || t >= 35)).toHaveLength(
    notifications.filter(({ hostTimeS }) => hostTimeS - startS < 10 || hostTimeS - startS >= 35).length,
  );
  const store = await ClubStore.open({ file: path.join(dataFolder, databaseFile), nowS: () => startS });
  const left = await store.shots.all({});
  const [other] = await store.players.list();
  expect(left.map(({ player_id, set_id }) => [player_id, set_id])).toEqual([[other?.id, null]]);
  const [session] = (await store.sessions.list()).filter(({ shotCount }) => shotCount > 0);
  expect(session?.name).toBe("(deleted)'s Tuesday");
  expect(await store.rotations.running(session?.id ?? '')).toMatchObject([{ playerIds: [other?.id] }]);
  expect(await store.marks.list(session?.id ?? '')).toMatchObject([{ name: '(deleted) begins' }]);
  expect(reader.notes).toMatchObject([{ kind: 'mark', document: { name: '(deleted) begins' } }]);
  await store.close();
});

it('says where something is left that it cannot delete', async () => {
  writeFileSync(path.join(dataFolder, 'my-notes.txt'), 'call the parents of Zebra Stripe');
  expect(await run('players', 'erase', 'Zebra Stripe', '--yes')).toMatchObject({
    code: 1,
    stderr: expect.stringContaining('still stands in my-notes.txt'),
  });
  expect(() => requireNothingLeft(['a.txt'], dataFolder)).toThrow(expect.objectContaining({ code: 'traces-left' }));
  requireNothingLeft([], dataFolder);
});

it('cuts a sensor from end to end where it was the player alone who used it', async () => {
  const file = path.join(dataFolder, recordingsFolder, 'two-sensors.mcap');
  const store = await ClubStore.open({ file: path.join(dataFolder, databaseFile), nowS: () => startS });
  const otherSensor = 'cd'.repeat(16);
  await store.players.seeSensor({ id: otherSensor, placement: 'ball', description: '00' });
  const writer = await RecordingWriter.create(file);
  for (const id of [sensorId, otherSensor]) await writer.describe(id, descriptionBytes, startS);
  for (const notification of notifications.slice(0, 2000)) {
    await writer.add(notification);
    await writer.add({ ...notification, sensorId: otherSensor });
  }
  await writer.close();
  const words = { name: '', timeZone: 'UTC', simulated: false, recording: 'two-sensors.mcap', settings: {} };
  const sessionId = await store.sessions.start(coach, words);
  const players = await store.players.list();
  for (const [seenBy, pseudonym] of [
    [sensorId, 'Zebra Stripe'],
    [otherSensor, 'Player 02'],
  ] as const) {
    const playerId = players.find((player) => player.pseudonym === pseudonym)?.id ?? null;
    const place = { sessionId, setId: null, playerId, sensorId: seenBy, streamIndex: 0, atS: startS + 20 };
    await store.shots.add(place, madeResult(0));
  }
  await store.close();
  expect((await run('players', 'erase', 'Zebra Stripe', '--yes')).code).toBe(0);
  const { entries } = await readRecording(file);
  const left = entries.filter(({ kind }) => kind === 'notification').map((entry) => entry.sensorId);
  expect(new Set(left)).toEqual(new Set([otherSensor]));
  expect(left).toHaveLength(2000);
});

it('deletes again what a backup brings back', async () => {
  const backup = path.join(temporaryFolder(), 'backup.db');
  expect((await run('backup', backup)).code).toBe(0);
  await run('players', 'erase', 'Zebra Stripe', '--yes');
  expect((await run('restore', backup)).code).toBe(0);
  expect(everyByte().includes('Zebra Stripe')).toBe(false);
});

it('does not touch recordings that a running service may be writing', async () => {
  const service = await startService({
    version: '1.2.3',
    port: 0,
    dataFolder,
    pageFolder: '',
    settings: defaultBallSettings,
    source: new ReplaySource({ sensors: [], clock: systemClock, pace: 'fast', simulated: true }),
    threadCount: 1,
  });
  expect(await run('players', 'erase', 'Zebra Stripe', '--yes')).toMatchObject({
    code: 1,
    stderr: expect.stringContaining('stop it, then delete the player'),
  });
  await service.close();
  expect(everyByte()).toContain('Zebra Stripe');
});
