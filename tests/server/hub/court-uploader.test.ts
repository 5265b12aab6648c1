import { createHash, randomBytes } from 'node:crypto';
import { mkdirSync, statSync, truncateSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { beforeEach, expect, it, onTestFinished } from 'vitest';
import { systemClock } from '../../../src/devices/system-clock.ts';
import { silentLogger } from '../../../src/foundation/logger.ts';
import { CourtUploader } from '../../../src/server/hub/court-uploader.ts';
import { HubClient } from '../../../src/server/hub/hub-client.ts';
import { erasePlayerFrom } from '../../../src/server/practice/erase-player.ts';
import { recordingsFolder } from '../../../src/server/practice/practice-keeper.ts';
import { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';
import { coach, madeResult } from '../../sessions/database/opened-store.ts';
import { rowsOf } from '../../sessions/hub/court-and-hub.ts';
import { type MadeHub, madeHub } from './made-hub.ts';

let hub: MadeHub;
let court: ClubStore;
let key = '';
let sessionId = '';
let dataFolder = '';

beforeEach(async () => {
  hub = await madeHub();
  ({ key } = await hub.keeper.store.courts.make('North 2'));
  dataFolder = temporaryFolder();
  mkdirSync(path.join(dataFolder, recordingsFolder));
  court = await ClubStore.open({ file: path.join(dataFolder, 'seamwise.db'), nowS: () => systemClock.nowS() });
  onTestFinished(() => court.close());
  await court.players.seeSensor({ id: 'ball-a', placement: 'ball', description: '00' });
  sessionId = await court.sessions.start(coach, sessionWords(null));
});

const sessionWords = (recording: string | null) => ({
  ...{ name: '', timeZone: 'UTC', simulated: false, recording, settings: {} },
});

function upload(change: { readonly key?: string } = {}): CourtUploader {
  const uploader = new CourtUploader({
    ...{ store: court, hub: { address: hub.address, key, ...change }, logger: silentLogger, idleMs: 20, retryMs: 10 },
    recordingsFolder: path.join(dataFolder, recordingsFolder),
    erase: async (playerId) => {
      await erasePlayerFrom(court, dataFolder, playerId);
      return true;
    },
  });
  onTestFinished(() => uploader.close());
  return uploader;
}

async function until(holds: () => Promise<boolean> | boolean): Promise<void> {
  // Ends with the time that the test has.
  while (!(await holds())) await pause(10);
}

let index = 0;
const shoot = (playerId: string | null = null) =>
  court.shots.add(
    { sessionId, setId: null, playerId, sensorId: 'ball-a', streamIndex: 0, atS: systemClock.nowS() },
    madeResult(index++),
  );

const isAllThere = async (uploader: CourtUploader) => (await uploader.state()).waiting === 0;

it('hands over what was there and what comes, and goes on where it was after an end', async () => {
  const first = await shoot();
  const uploader = upload();
  await until(() => isAllThere(uploader));
  const second = await shoot();
  await court.shots.tag(coach, [first, second], { outcome: 'make' });
  uploader.wake();
  await until(() => isAllThere(uploader));
  await uploader.close();
  await shoot();
  const again = upload();
  await until(() => isAllThere(again));
  expect(await rowsOf(hub.keeper.store)).toEqual(await rowsOf(court));
  expect(await again.state()).toMatchObject({ state: 'working', detail: null, parked: 0 });
});

it('works on while the hub is away, says so, and hands over when it is back', async () => {
  const uploader = upload();
  await until(() => isAllThere(uploader));
  await hub.stop();
  await shoot();
  uploader.wake();
  await until(async () => (await uploader.state()).state === 'away');
  expect(await uploader.state()).toMatchObject({ detail: expect.stringContaining('does not answer') });
  for (let k = 0; k < 5; k++) await shoot();
  await hub.start();
  await until(() => isAllThere(uploader));
  expect((await hub.keeper.store.shots.all({})).length).toBe(6);
  await until(async () => (await uploader.state()).state === 'working');
});

it('is refused with a key that was taken back, and loses nothing', async () => {
  const uploader = upload();
  await until(() => isAllThere(uploader));
  const [known] = await hub.keeper.store.courts.list();
  await hub.keeper.store.courts.revoke(known?.id ?? '');
  await shoot();
  uploader.wake();
  await until(async () => (await uploader.state()).state === 'refused');
  expect((await uploader.state()).waiting).toBeGreaterThan(0);
  expect(await hub.keeper.store.shots.all({})).toEqual([]);
  await uploader.close();
  ({ key } = await hub.keeper.store.courts.make('North 2, again'));
  const again = upload();
  await until(() => isAllThere(again));
  expect((await hub.keeper.store.shots.all({})).length).toBe(1);
});

it('puts aside what the hub cannot take, with the reason, and hands over the rest', async () => {
  const broken = await shoot();
  // As no program of this version writes it.
  await court.context.db
    .updateTable('shot')
    .set({ stream_index: 'x' as never })
    .where('id', '=', broken)
    .execute();
  const other = await shoot();
  const uploader = upload();
  await until(() => isAllThere(uploader));
  expect((await hub.keeper.store.shots.all({})).map(({ id }) => id)).toEqual([other]);
  expect(await court.hub.parked()).toMatchObject({ count: 1, reason: expect.stringContaining('/row/stream_index') });
  // Mended, it is tried again.
  await court.context.db.updateTable('shot').set({ stream_index: 0 }).where('id', '=', broken).execute();
  await until(async () => (await court.hub.parked()).count === 0);
  expect((await hub.keeper.store.shots.all({})).length).toBe(2);
});

it('deletes here who was deleted on the hub, with files and rows', async () => {
  const playerId = await court.players.add(coach, { pseudonym: 'Player 07' });
  for (const scope of ['record', 'upload'] as const) {
    await court.players.giveConsent(coach, playerId, scope, 'the player');
  }
  await shoot(playerId);
  const uploader = upload();
  await until(async () => (await hub.keeper.store.shots.all({ playerId })).length === 1);
  await hub.keeper.store.erasePlayer(playerId);
  await until(async () => (await court.players.list()).length === 0);
  expect(await court.shots.all({})).toEqual([]);
  await until(() => isAllThere(uploader));
  expect(await hub.keeper.store.players.list()).toEqual([]);
});

it('tells a court the players of the others and the changes that were made on the hub', async () => {
  const shotId = await shoot();
  upload();
  await until(async () => (await hub.keeper.store.shots.all({})).length === 1);
  const told: string[] = [];
  court.edits.listen(({ rows }) => told.push(...rows.map(({ table }) => table)));
  await hub.keeper.store.players.add(coach, { pseudonym: 'Player 09' });
  await hub.keeper.store.shots.tag(coach, [shotId], { outcome: 'make' });
  await until(async () => (await court.shots.all({}))[0]?.outcome === 'make');
  expect((await court.players.list()).map(({ pseudonym }) => pseudonym)).toEqual(['Player 09']);
  expect(told).toEqual(expect.arrayContaining(['player', 'shot']));
});

async function recording(
  bytes: number,
): Promise<{ readonly id: string; readonly content: Buffer; readonly file: string }> {
  const content = randomBytes(bytes);
  const file = path.join(dataFolder, recordingsFolder, 'a.mcap');
  writeFileSync(file, content);
  const id = await court.sessions.start(coach, sessionWords('a.mcap'));
  await court.sessions.end(coach, id);
  return { id, content, file };
}

async function handedContent(id: string): Promise<Buffer> {
  const pieces: Uint8Array[] = [];
  for await (const piece of hub.keeper.store.handedRecordings.pieces(id)) pieces.push(piece);
  return Buffer.concat(pieces);
}

it('hands over the recording of a practice that has ended, and again when it was cut', async () => {
  const { id, content, file } = await recording(2_500_000);
  upload();
  await until(async () => (await court.hub.remembered(`recording ${id}`)) !== null);
  expect((await handedContent(id)).equals(content)).toBe(true);
  const listed = async () => {
    const answer = await fetch(new URL('/api/sessions', hub.address));
    const { sessions } = (await answer.json()) as { sessions: { id: string; recordingBytes: number | null }[] };
    return sessions.find((session) => session.id === id)?.recordingBytes;
  };
  expect(await listed()).toBe(content.length);
  const before = await court.hub.remembered(`recording ${id}`);
  truncateSync(file, 1_200_000);
  await until(async () => (await court.hub.remembered(`recording ${id}`)) !== before);
  expect((await handedContent(id)).equals(content.subarray(0, 1_200_000))).toBe(true);
  expect(await listed()).toBe(1_200_000);
  expect(statSync(file).size).toBe(1_200_000);
});

it('keeps a recording back while somebody in it has not agreed', async () => {
  const { id } = await recording(1000);
  const playerId = await court.players.add(coach, { pseudonym: 'Player 07' });
  await court.players.giveConsent(coach, playerId, 'record', 'the player');
  await court.shots.add(
    { sessionId: id, setId: null, playerId, sensorId: 'ball-a', streamIndex: 0, atS: systemClock.nowS() },
    madeResult(0),
  );
  const uploader = upload();
  await until(() => isAllThere(uploader));
  await pause(100);
  expect(await handedContent(id)).toHaveLength(0);
  await court.players.giveConsent(coach, playerId, 'upload', 'the player');
  await until(async () => (await handedContent(id)).length === 1000);
});

it('a recording that broke off goes on with the pieces that are missing, damaged pieces are refused', async () => {
  const { id, content } = await recording(1000);
  const handed = await court.hub.forHub(0, 1000);
  const client = new HubClient({ address: hub.address, key });
  await client.handOver(handed.documents);
  const sha256 = (part: Uint8Array) => createHash('sha256').update(part).digest('hex');
  const announced = { byteCount: 1000, pieceBytes: 300, checksum: sha256(content) };
  expect(await client.announce(id, announced)).toEqual({ complete: false, missing: [0, 1, 2, 3] });
  const piece = (place: number) => content.subarray(place * 300, (place + 1) * 300);
  await client.sendPiece(id, 2, sha256(piece(2)), piece(2));
  await client.sendPiece(id, 2, sha256(piece(2)), piece(2));
  await expect(client.sendPiece(id, 1, sha256(piece(0)), piece(1))).rejects.toMatchObject({ status: 409 });
  await expect(client.sendPiece(id, 1, sha256(piece(3)), piece(3))).rejects.toMatchObject({ status: 409 });
  await expect(client.sendPiece(id, 4, sha256(piece(0)), piece(0))).rejects.toMatchObject({ status: 409 });
  // Another process of the court, after a break.
  expect(await client.announce(id, announced)).toEqual({ complete: false, missing: [0, 1, 3] });
  for (const place of [3, 0]) await client.sendPiece(id, place, sha256(piece(place)), piece(place));
  expect(await client.sendPiece(id, 1, sha256(piece(1)), piece(1))).toEqual({ complete: true, missing: [] });
  expect((await handedContent(id)).equals(content)).toBe(true);
  const { key: otherKey } = await hub.keeper.store.courts.make('South');
  const other = new HubClient({ address: hub.address, key: otherKey });
  await expect(other.announce(id, announced)).rejects.toMatchObject({ status: 404 });
  await expect(other.sendPiece(id, 0, sha256(piece(0)), piece(0))).rejects.toMatchObject({ status: 404 });
});

it('a whole that is not what was announced is thrown away', async () => {
  const { id, content } = await recording(500);
  const client = new HubClient({ address: hub.address, key });
  await client.handOver((await court.hub.forHub(0, 1000)).documents);
  const sha256 = (part: Uint8Array) => createHash('sha256').update(part).digest('hex');
  await client.announce(id, { byteCount: 500, pieceBytes: 500, checksum: sha256(Buffer.from('other')) });
  await expect(client.sendPiece(id, 0, sha256(content), content)).rejects.toMatchObject({ status: 409 });
  expect(await handedContent(id)).toHaveLength(0);
});

it.each(['', 'court-', 'x', 'court-aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa'])(
  'no made-up key opens anything: %j',
  async (made) => {
    const client = new HubClient({ address: hub.address, key: made });
    await expect(client.court()).rejects.toMatchObject({ status: 401 });
    await expect(client.handOver([])).rejects.toMatchObject({ status: 401 });
    await expect(client.told(0)).rejects.toMatchObject({ status: 401 });
  },
);

it('a key of a court opens nothing but what is for courts', async () => {
  const response = await fetch(`${hub.address}api/hub/court`, { headers: { authorization: `Bearer ${key}` } });
  expect(await response.json()).toMatchObject({ name: 'North 2' });
  const without = await fetch(`${hub.address}api/hub/court`);
  expect([without.status, (await without.json()).error]).toEqual([401, 'no-court']);
});
