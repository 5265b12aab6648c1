import { createHash } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { setTimeout as pause } from 'node:timers/promises';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { systemClock } from '../../../src/devices/system-clock.ts';
import { silentLogger } from '../../../src/foundation/logger.ts';
import { noSetup } from '../../../src/live/sensor-setup.ts';
import { askForReanalysis } from '../../../src/server/hub/work/ask-for-work.ts';
import type { ExportJobWords } from '../../../src/server/hub/work/export-work.ts';
import { HubWorker, type WorkedJob } from '../../../src/server/hub/work/hub-worker.ts';
import { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { analysisVersion } from '../../../src/shots/shot.ts';
import { hasPostgres, noPostgres, sharedCluster } from '../../helpers/postgres-cluster.ts';
import { addRecordedSession } from '../../helpers/research-service.ts';
import { tempFolder } from '../../helpers/temp-folder.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';
import { coach } from '../../sessions/database/opened-store.ts';
import { handOver } from '../../sessions/hub/court-and-hub.ts';

const nowS = () => systemClock.nowS();
const from = 'north';
const correction = { accelBiasMps2: [0, 0, 0], accelScale: [1, 1, 1], gyro: null } as const;
const calibrated = { ...noSetup, correction, calibratedAtS: 1 };

/** Hands a recording over as the uploader does. */
async function handRecording(hub: ClubStore, sessionId: string, content: Uint8Array): Promise<void> {
  const sha256 = (bytes: Uint8Array) => createHash('sha256').update(bytes).digest('hex');
  const pieceBytes = 64 * 1024;
  await hub.handedRecordings.announce(from, {
    ...{ sessionId, byteCount: content.length, pieceBytes, checksum: sha256(content) },
  });
  for (let place = 0; place * pieceBytes < content.length; place++) {
    const piece = content.subarray(place * pieceBytes, (place + 1) * pieceBytes);
    await hub.handedRecordings.takePiece(from, sessionId, { place, checksum: sha256(piece), content: piece });
  }
}

async function work(store: ClubStore, change: Partial<ConstructorParameters<typeof HubWorker>[0]> = {}) {
  const ended: WorkedJob[] = [];
  const worker = new HubWorker({
    ...{ store, threadCount: 1, version: '1.2.3', logger: silentLogger, untilDone: true, idleMs: 20 },
    setupOf: async () => noSetup,
    onEnded: (job) => ended.push(job),
    ...change,
  });
  await worker.ended;
  return ended;
}

/** Failed pieces are tried again at once. */
function hurry(store: ClubStore): () => void {
  const timer = setInterval(() => {
    store.context.db
      .updateTable('job')
      .set({ not_before_s: 0 })
      .where('club_id', '=', store.clubId)
      .execute()
      .catch(() => {});
  }, 30);
  return () => clearInterval(timer);
}

describe.skipIf(!hasPostgres)(`a worker of a hub${hasPostgres ? '' : ` (${noPostgres})`}`, () => {
  let court: ClubStore;
  let hub: ClubStore;
  let recorded: Awaited<ReturnType<typeof addRecordedSession>>;

  beforeAll(async () => {
    const cluster = await sharedCluster();
    hub = await ClubStore.open({ address: cluster.address(await cluster.createDatabase()), nowS });
    court = await ClubStore.open({ file: ':memory:', nowS });
    recorded = await addRecordedSession({ store: court, dataFolder: tempFolder() }, 'practice', 'free-throw-swish');
    await handOver(court, hub, from);
    await handRecording(hub, recorded.sessionId, readFileSync(recorded.file));
  });
  afterAll(() => Promise.all([court?.close(), hub?.close()]));

  it('goes through a handed recording once, and its result stands beside that of the court', async () => {
    const [id = ''] = await askForReanalysis(hub, coach, { again: false });
    const ended = await work(hub);
    expect(ended).toMatchObject([
      { id, state: 'done', counts: { again: recorded.shotIds.length, added: 0, notFound: 0 } },
    ]);
    expect(recorded.shotIds.length).toBeGreaterThan(0);
    for (const shotId of recorded.shotIds) {
      const results = await hub.shots.results(shotId);
      expect(results.map(({ isCurrent }) => isCurrent).sort()).toEqual([false, true]);
      expect(results[0]?.shot.measures).toEqual(results[1]?.shot.measures);
    }
    expect(await askForReanalysis(hub, coach, { again: false })).toEqual([]);
    expect((await hub.jobs.get(id)).words).toEqual({ analysisVersion });
  });

  it('is current until the court itself has a later result, whatever else the court says of the shot', async () => {
    const [shotId = ''] = recorded.shotIds;
    await court.shots.tag(coach, [shotId], { outcome: 'make' });
    await handOver(court, hub, from);
    const [shot] = (await hub.shots.all({})).filter(({ id }) => id === shotId);
    expect(shot?.outcome).toBe('make');
    const own = await hub.context.db
      .selectFrom('job_result')
      .select('result_id')
      .where('shot_id', '=', shotId)
      .execute();
    const current = async () => {
      const rows = hub.context.db.selectFrom('shot_result').select('id').where('shot_id', '=', shotId);
      return (await rows.where('is_current', '=', 1).execute()).map(({ id }) => id);
    };
    expect(await current()).toEqual(own.map(({ result_id }) => result_id));
    const { shot: told } = (await court.shots.results(shotId))[0] ?? {};
    if (!told) throw new Error('the court has no result');
    await court.shots.addResult(shotId, { shot: told, analysisVersion: 'later', parameters: {} });
    await handOver(court, hub, from);
    expect(await hub.shots.results(shotId)).toMatchObject([
      { isCurrent: false },
      { isCurrent: false },
      { isCurrent: true },
    ]);
    expect((await current()).length).toBe(1);
    // And again the hub's own, once it is the later one.
    await askForReanalysis(hub, coach, { again: true });
    await work(hub);
    expect((await hub.shots.results(shotId)).length).toBe(3);
    expect((await current()).length).toBe(1);
  });

  it('puts a recording aside that cannot be read, with its reason, and goes on with the others', async () => {
    const words = { name: '', timeZone: 'UTC', simulated: false, recording: 'odd.mcap', settings: {} };
    const odd = await court.sessions.start(coach, words);
    await court.sessions.end(coach, odd);
    await handOver(court, hub, from);
    await handRecording(hub, odd, Buffer.from('this is no recording'));
    await askForReanalysis(hub, coach, { again: true });
    const slow = hurry(hub);
    const ended = await work(hub);
    slow();
    expect(ended.filter(({ state }) => state === 'done').map(({ subject }) => subject)).toEqual([recorded.sessionId]);
    expect(ended.filter(({ subject }) => subject === odd).map(({ state }) => state)).toEqual([
      'again',
      'again',
      'parked',
    ]);
    const [parked] = (await hub.jobs.list()).filter(({ state }) => state === 'parked');
    expect(parked).toMatchObject({ subject: odd, tries: 3, reason: expect.stringMatching(/\S/) });
    await hub.jobs.stop(parked?.id ?? '');
  });

  it('does not go through a recording with less than its court knew of the sensor', async () => {
    const [shotId = ''] = recorded.shotIds;
    const { shot } = (await court.shots.results(shotId))[0] ?? {};
    if (!shot) throw new Error('the court has no result');
    const parameters = { sensors: { [recorded.sensorId]: { calibratedAtS: 1, spinReferenceCount: 0 } } };
    // The court goes through it again, with a calibration of the sensor.
    await court.shots.addResult(shotId, { shot, analysisVersion: 'calibrated', parameters });
    await handOver(court, hub, from);
    await askForReanalysis(hub, coach, { again: true, sessionId: recorded.sessionId });
    const slow = hurry(hub);
    const ended = await work(hub);
    slow();
    expect(ended.at(-1)).toMatchObject({ state: 'parked', reason: expect.stringContaining('calibration') });
    await hub.jobs.stop(ended.at(-1)?.id ?? '');
    await askForReanalysis(hub, coach, { again: true, sessionId: recorded.sessionId });
    const known = await work(hub, { setupOf: async () => calibrated });
    expect(known).toMatchObject([{ state: 'done', reason: null }]);
  });

  it('gives back what it is at when it is ended, and another one does it', async () => {
    await askForReanalysis(hub, coach, { again: true, sessionId: recorded.sessionId });
    const worker = new HubWorker({
      ...{ store: hub, threadCount: 1, version: '1.2.3', logger: silentLogger, idleMs: 20 },
      // It never comes further than this.
      setupOf: () => new Promise(() => {}),
    });
    while ((await hub.jobs.counts()).running === 0) await pause(20);
    await worker.close();
    const [open] = await hub.jobs.list(1);
    expect(open).toMatchObject({ state: 'waiting', tries: 0 });
    expect(await work(hub, { setupOf: async () => calibrated })).toMatchObject([{ id: open?.id, state: 'done' }]);
  });

  it('finds shots that the court has lost, which go with the session when that goes, and with no other court’s word', async () => {
    const gone = await addRecordedSession({ store: court, dataFolder: temporaryFolder() }, 'gone', 'free-throw-swish');
    await handOver(court, hub, from);
    await handRecording(hub, gone.sessionId, readFileSync(gone.file));
    // As if the court's version of the analysis had found none.
    for (const shotId of gone.shotIds) {
      await court.context.db.deleteFrom('shot_result').where('shot_id', '=', shotId).execute();
      await court.context.db.deleteFrom('shot').where('id', '=', shotId).execute();
    }
    await handOver(court, hub, from);
    const shots = async () => (await hub.shots.all({ sessionId: gone.sessionId })).length;
    expect(await shots()).toBe(0);
    await askForReanalysis(hub, coach, { again: true, sessionId: gone.sessionId });
    const counts = { again: 0, added: gone.shotIds.length };
    expect(await work(hub, { setupOf: async () => calibrated })).toMatchObject([{ state: 'done', counts }]);
    expect(await shots()).toBe(gone.shotIds.length);
    const told = (id: string) =>
      hub.hub.take({ id, name: id }, [{ entity: 'session', id: gone.sessionId, seq: 1_000_000, row: null, parts: {} }]);
    expect(await told('south')).toMatchObject([{ state: 'waits' }]);
    expect(await shots()).toBe(gone.shotIds.length);
    expect(await told(from)).toMatchObject([{ state: 'taken' }]);
    expect(await shots()).toBe(0);
  });

  it('writes an export of several machines’ recordings, to be fetched anywhere', async () => {
    const asked: ExportJobWords = {
      ...{ filter: { sessionId: recorded.sessionId }, samples: true, bids: false, raw: true, shift: 'one' },
      withUnnamed: true,
    };
    const id = await hub.jobs.ask(coach, { kind: 'export', subject: '', words: asked });
    expect(await work(hub)).toMatchObject([{ id, state: 'done', counts: { shots: recorded.shotIds.length } }]);
    const parts: Uint8Array[] = [];
    for await (const part of await hub.exportFiles.read(id)) parts.push(part);
    const archive = Buffer.concat(parts);
    // .ZIP File Format Specification: a local file header begins with PK 3 4.
    expect(archive.subarray(0, 4)).toEqual(Buffer.from([0x50, 0x4b, 3, 4]));
    const names = archive.toString('latin1');
    for (const name of ['shots.csv', 'shots.parquet', 'raw/']) expect(names).toContain(name);
    expect((await hub.jobs.get(id)).counts.samples).toBeGreaterThan(1000);
  });
});
