import { execFileSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { existsSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import type { InjectOptions } from 'fastify';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { analyseRecording } from '../../../src/server/reanalysis/analyse-recording.ts';
import type { WireJob } from '../../../src/server/wire/research-document.ts';
import type { WireSignals, WireSignalWindow } from '../../../src/server/wire/signal-document.ts';
import { defaultBallSettings } from '../../../src/shots/shot.ts';
import {
  addRecordedSession,
  openResearchService,
  type ResearchService,
  recordScenario,
} from '../../helpers/research-service.ts';
import { tempFolder } from '../../helpers/temp-folder.ts';
import { coach } from '../../sessions/database/opened-store.ts';

const folder = tempFolder();
let service: ResearchService;
let session: Awaited<ReturnType<typeof addRecordedSession>>;

beforeAll(async () => {
  service = await openResearchService(path.join(folder, 'data'), {
    limits: { partBytes: 64 * 1024, limitBytes: 20_000_000 },
  });
  // A tenth of the stream in the middle is lost: a gap that has to show.
  session = await addRecordedSession(service, 'free throw', 'free-throw-swish', (index) => index >= 100 && index < 120);
});
afterAll(async () => {
  await service?.close();
});

type Method = 'GET' | 'POST' | 'PUT' | 'PATCH' | 'DELETE';

async function ask(method: Method, url: string, body?: object | Buffer) {
  const request: InjectOptions = { method, url, headers: { host: '127.0.0.1:8650' } };
  if (Buffer.isBuffer(body)) {
    request.headers = { ...request.headers, 'content-type': 'application/octet-stream' };
  }
  const answer = await service.server.inject(body === undefined ? request : { ...request, payload: body });
  const isJson = String(answer.headers['content-type']).includes('json');
  return { status: answer.statusCode, body: isJson ? answer.json() : null, bytes: answer.rawPayload };
}

async function done(method: Method, url: string, body?: object | Buffer) {
  const answer = await ask(method, url, body);
  expect(answer.status, JSON.stringify(answer.body)).toBeLessThan(300);
  return answer.body;
}

async function ended(job: WireJob): Promise<WireJob> {
  for (;;) {
    const now: WireJob = await done('GET', `/api/jobs/${job.id}`);
    if (now.endedS !== null) return now;
    await new Promise((resolve) => setTimeout(resolve, 50));
  }
}

async function signals(): Promise<Extract<WireSignals, { state: 'ready' }>> {
  for (;;) {
    const now: WireSignals = await done('GET', `/api/sessions/${session.sessionId}/signals`);
    if (now.state === 'ready') return now;
    await new Promise((resolve) => setTimeout(resolve, 50));
  }
}

describe('samples of a recording', () => {
  it('are read once, told by stream, and given out in stretches with their gaps', async () => {
    const { streams, startedS } = await signals();
    expect(streams).toMatchObject([
      { sensorId: session.sensorId, streamIndex: 0, hasGyro: true, gapCount: expect.any(Number) },
    ]);
    const [stream] = streams;
    if (!stream) throw new Error('no stream');
    // The release of the shot, brought to the session's time by the told clock, is the instant that the shot is stored with.
    const [shot] = await service.store.shots.list({ sessionId: session.sessionId });
    const releaseS = stream.clock.zeroS + stream.clock.slope * (shot?.result.shot.releaseS ?? 0);
    expect(startedS + releaseS).toBeCloseTo(shot?.at_s ?? 0, 2);
    const url = `/api/sessions/${session.sessionId}/signals/window?fromS=${stream.fromS}&untilS=${stream.untilS}&columns=200&groups=accel,gyro`;
    const { status, bytes } = await ask('GET', url);
    expect(status).toBe(200);
    const { head, numbers } = decoded(bytes);
    const [part] = head.parts;
    expect(part).toMatchObject({ kind: 'columns', channels: 8, length: 200, at: 0 });
    expect(numbers).toHaveLength(8 * 200 * 2);
    expect(part?.gaps).toHaveLength(stream.gapCount);
    const longest = part?.gaps.toSorted((a, b) => b[1] - b[0] - (a[1] - a[0]))[0];
    const [gapFrom = 0, gapUntil = 0] = longest ?? [];
    expect(gapUntil - gapFrom).toBeGreaterThan(0.3);
    const middle = Math.floor(((gapFrom + gapUntil) / 2 - head.fromS) / head.columnS);
    for (let channel = 0; channel < 8; channel++) expect(numbers[2 * (200 * channel + middle)]).toBeNaN();
    // Of the whole, the middle of the free throw's flight reads only the little that air and spin do.
    const flight = Math.floor((releaseS + 0.4 - head.fromS) / head.columnS);
    expect(numbers[2 * (200 * 3 + flight)]).toBeLessThan(9);
  });

  it('leave nothing behind in the data folder but what was there', async () => {
    await signals();
    const left = readdirSync(service.dataFolder).filter((name) => name.endsWith('-in-use'));
    for (const name of left) {
      if (process.platform !== 'win32') expect(readdirSync(path.join(service.dataFolder, name))).toEqual([]);
    }
  });

  it.each([
    ['/api/sessions/..%2F..%2Fetc%2Fpasswd/signals', 404],
    ['/api/sessions/nothing/signals', 404],
    ['/api/sessions/nothing/signals/window?fromS=0&untilS=1&columns=10&groups=accel', 404],
    ['/api/sessions/ID/signals/window?fromS=0&untilS=1&columns=100000&groups=accel', 400],
    ['/api/sessions/ID/signals/window?fromS=1&untilS=0&columns=10&groups=accel', 400],
    ['/api/sessions/ID/signals/window?fromS=nan&untilS=1&columns=10&groups=accel', 400],
    ['/api/sessions/ID/signals/window?fromS=0&untilS=1&columns=10&groups=sound', 400],
    ['/api/sessions/ID/signals/window?fromS=0&untilS=1&columns=10&groups=accel&streams=0,x', 400],
    ['/api/exports/..%2F..%2Fseamwise.db/download', 404],
    ['/api/exports/x/key', 404],
    ['/api/jobs/..', 404],
  ])('%s is refused', async (url, status) => {
    await signals();
    expect((await ask('GET', url.replace('ID', session.sessionId))).status).toBe(status);
  });
});

function decoded(bytes: Buffer): { head: WireSignalWindow; numbers: Float32Array } {
  const headBytes = bytes.readUInt32LE(0);
  const head = JSON.parse(bytes.subarray(4, 4 + headBytes).toString());
  return { head, numbers: new Float32Array(Uint8Array.from(bytes.subarray(4 + headBytes)).buffer) };
}

describe('a time of a shot', () => {
  it('is set by hand, told with the shot, undone, and stays through another analysis', async () => {
    const [shotId = ''] = session.shotIds;
    const [before] = (await done('GET', `/api/sessions/${session.sessionId}/shots`)).shots;
    const timeS = before.shot.releaseS + 0.005;
    const url = `/api/shots/${shotId}/times/release`;
    const { changeId } = await done('PUT', url, { timeS, resolutionS: 0.005, by: 'Researcher A' });
    const corrected = async () => (await done('GET', `/api/sessions/${session.sessionId}/shots`)).shots[0].corrections;
    expect(await corrected()).toMatchObject([{ phase: 'release', timeS, byName: 'Researcher A' }]);
    const refused = await ask('PUT', url, { timeS: timeS + 100, resolutionS: 0.005 });
    expect(refused).toMatchObject({ status: 400, body: { error: 'store-value' } });
    expect((await ask('PUT', `/api/shots/${shotId}/times/apex`, { timeS, resolutionS: 0.005 })).status).toBe(400);

    const job = await ended(await done('POST', `/api/sessions/${session.sessionId}/analyses`, { by: 'Researcher A' }));
    expect(job).toMatchObject({ state: 'done', share: 1, counts: { again: 2, changed: 0, added: 0, notFound: 0 } });
    expect(await corrected()).toMatchObject([{ phase: 'release', timeS }]);
    expect((await done('GET', `/api/sessions/${session.sessionId}/analyses`)).runs).toMatchObject([
      { byName: 'Researcher A', again: 2, changed: 0 },
    ]);
    const { results } = await done('GET', `/api/shots/${shotId}/results`);
    expect(results.map(({ isCurrent }: { isCurrent: boolean }) => isCurrent)).toEqual([false, true]);

    await done('POST', `/api/changes/${changeId}/undo`, {});
    expect(await corrected()).toEqual([]);
    expect((await ask('DELETE', url)).status).toBe(404);
  });
});

it('a mark is set in a recording, renamed and taken away', async () => {
  const marks = `/api/sessions/${session.sessionId}/marks`;
  const mark = await done('POST', marks, { atS: 1_700_000_000, uncertaintyS: 0.005, name: 'clap' });
  expect(mark).toMatchObject({ origin: 'hand', name: 'clap', clock: 'host' });
  expect(await done('PATCH', `/api/marks/${mark.id}`, { name: 'second clap' })).toMatchObject({ name: 'second clap' });
  await done('DELETE', `/api/marks/${mark.id}`);
  expect((await done('GET', `/api/sessions/${session.sessionId}`)).marks).toEqual([]);
  expect((await ask('DELETE', `/api/marks/${mark.id}`)).status).toBe(404);
  expect((await ask('POST', '/api/sessions/nothing/marks', { atS: 1, uncertaintyS: 0 })).status).toBe(404);
});

async function send(files: readonly { name: string; bytes: Buffer }[]): Promise<string> {
  const announced = files.map(({ name, bytes }) => ({ name, bytes: bytes.length, modifiedS: 1_700_000_000 }));
  const { id, partBytes } = await done('POST', '/api/imports', { files: announced });
  for (const [index, { bytes }] of files.entries()) {
    for (let at = 0; at < bytes.length; at += partBytes) {
      await done('PUT', `/api/imports/${id}/files/${index}?at=${at}`, bytes.subarray(at, at + partBytes));
    }
  }
  return id;
}

const uploadsLeft = (): string[] => {
  const uploads = path.join(service.dataFolder, 'uploads-in-use');
  return existsSync(uploads) ? readdirSync(uploads) : [];
};

describe('an import', () => {
  it('takes a recording that was sent in parts, with the same shots as the file itself gives', async () => {
    const file = path.join(folder, 'sent.mcap');
    await recordScenario(file, 'catch-and-shoot-net');
    const count = (await analyseRecording({ file, settings: defaultBallSettings })).shots.length;
    expect(count).toBeGreaterThan(0);
    const id = await send([{ name: '../../Übung am Ring.mcap', bytes: readFileSync(file) }]);
    const job = await ended(
      await done('POST', `/api/imports/${id}/start`, { files: [{}], name: 'Sent', by: 'Coach A' }),
    );
    expect(job).toMatchObject({ state: 'done', counts: { shots: count } });
    const stored = await service.store.sessions.get(job.sessionId ?? '');
    expect(stored).toMatchObject({ name: 'Sent', recording: 'Übung am Ring.mcap' });
    const hash = (of: string) => createHash('sha256').update(readFileSync(of)).digest('hex');
    expect(hash(path.join(service.dataFolder, 'recordings', 'Übung am Ring.mcap'))).toBe(hash(file));
    expect(uploadsLeft()).toEqual([]);
  });

  it('says what is wrong with a file by its name and line, and keeps nothing', async () => {
    const count = (await service.store.sessions.list()).length;
    const id = await send([{ name: 'odd.csv', bytes: Buffer.from('t_s,ax_mps2\n0,1\n') }]);
    const words = { files: [{ placement: 'ball' }], started: '2026-11-20T18:00', timeZone: 'Europe/Berlin' };
    const job = await ended(await done('POST', `/api/imports/${id}/start`, words));
    expect(job.state).toBe('failed');
    expect(job.messages[0]).toMatch(/^odd\.csv.*expected.*ay/);
    expect(job.messages[0]).not.toContain(service.dataFolder);
    expect(await service.store.sessions.list()).toHaveLength(count);
    expect(uploadsLeft()).toEqual([]);
  });

  it.each([
    [{ files: [{}], timeZone: 'Nowhere/Town' }, 'Nowhere/Town'],
    [{ files: [{}], started: 'yesterday', timeZone: 'UTC' }, 'yesterday'],
    [
      { files: [{ placement: 'ball', mapping: { version: 1, time: { column: 'T', unit: 'h' } } }] },
      'columns of file 1',
    ],
    [{ files: [{ placement: 'shoe' }] }, 'placement'],
    [{ files: [{}], playerId: 'nobody' }, 'nobody'],
  ])('with %o is refused before it begins, and can be put right', async (words, named) => {
    const id = await send([{ name: 'a.csv', bytes: Buffer.from('t_s\n0\n') }]);
    const refused = await ask('POST', `/api/imports/${id}/start`, words);
    expect(refused.status).toBeGreaterThanOrEqual(400);
    expect(refused.status).toBeLessThan(500);
    expect(refused.body.message).toContain(named);
    await done('DELETE', `/api/imports/${id}`);
    expect(uploadsLeft()).toEqual([]);
  });

  it('refuses what is too large, empty, out of order, too much, or not there', async () => {
    const announce = (bytes: number) => ask('POST', '/api/imports', { files: [{ name: 'a.csv', bytes }] });
    expect(await announce(20_000_001)).toMatchObject({ status: 413, body: { error: 'upload-too-large' } });
    expect((await announce(20_000_001)).body.message).toContain('at most 20.0 MB');
    expect((await announce(0)).status).toBe(409);
    const { id } = (await announce(10)).body;
    const part = (at: number, bytes: number) => ask('PUT', `/api/imports/${id}/files/0?at=${at}`, Buffer.alloc(bytes));
    expect((await part(4, 4)).body.message).toContain('expected the one at byte 0');
    expect((await part(0, 11)).body.message).toContain('10 bytes that were announced');
    expect((await part(0, 5 * 1024 * 1024)).status).toBe(413);
    expect((await ask('PUT', `/api/imports/${id}/files/0?at=0`, { a: 1 })).status).toBe(409);
    expect((await ask('PUT', `/api/imports/${id}/files/1?at=0`, Buffer.alloc(1))).status).toBe(404);
    expect((await ask('PUT', '/api/imports/..%2F..%2Fx/files/0?at=0', Buffer.alloc(1))).status).toBe(404);
    expect((await part(0, 6)).body).toEqual({ received: 6 });
    // Broken off: nothing is imported of half a file.
    const start = await ask('POST', `/api/imports/${id}/start`, { files: [{ placement: 'ball' }] });
    expect(start).toMatchObject({ status: 409, body: { message: expect.stringContaining('6 of 10 bytes') } });
    await done('DELETE', `/api/imports/${id}`);
    expect(uploadsLeft()).toEqual([]);
  });
});

describe('an export', () => {
  it('is previewed by the rule that it is made by, written and downloaded as one archive', async () => {
    const playerId = await service.store.players.add(coach, { pseudonym: 'Player 07' });
    await service.store.players.giveConsent(coach, playerId, 'record', 'parent');
    await service.store.shots.assign(coach, session.shotIds, playerId);
    const sessionIds = [session.sessionId];
    const preview = () => done('POST', '/api/exports/preview', { sessionIds, withUnnamed: false });
    expect(await preview()).toMatchObject({ shots: 0, withheld: [{ pseudonym: 'Player 07', shots: 2 }] });
    await service.store.players.giveConsent(coach, playerId, 'export', 'parent');
    expect(await preview()).toMatchObject({ shots: 2, sessions: 1, players: 1, withheld: [], withoutRecording: [] });
    const { shot } = (await service.store.shots.list({ sessionId: session.sessionId }))[0]?.result ?? {};
    const hand = { timeS: (shot?.releaseS ?? 0) + 0.005, resolutionS: 0.005 };
    await service.store.corrections.set(coach, session.shotIds[0] ?? '', 'release', hand);

    const words = { filter: { sessionIds }, samples: true, withKey: true };
    const job = await ended(await done('POST', '/api/exports', words));
    expect(job).toMatchObject({ state: 'done', counts: { shots: 2, players: 1, hasKey: 1 } });
    const { bytes } = await ask('GET', `/api/exports/${job.id}/download`);
    const zip = path.join(folder, 'export.zip');
    writeFileSync(zip, bytes);
    // Read by another program than ours.
    const shots = execFileSync('python3', ['-c', unzipped, zip, 'shots.csv'], { encoding: 'utf8' });
    const [head = '', row = ''] = shots.split(/\r?\n/);
    const cell = (name: string) => Number(row.split(',')[head.split(',').indexOf(name)]);
    expect(cell('release_by_hand_s')).toBeCloseTo(hand.timeS, 6);
    expect(cell('release_s')).toBeCloseTo(shot?.releaseS ?? 0, 6);
    expect((await ask('GET', `/api/exports/${job.id}/key`)).body.player).toBeDefined();
    expect((await ask('POST', '/api/exports/preview', { fromDay: '2026-02-30' })).status).toBe(400);
  });
});

/** Checks the sums of every file of an archive, and prints one of them. */
const unzipped = `
import sys, zipfile
z = zipfile.ZipFile(sys.argv[1])
assert z.testzip() is None
print(z.read(sys.argv[2]).decode(), end='')
`;
