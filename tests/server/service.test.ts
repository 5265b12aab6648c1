import { appendFileSync, existsSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import WebSocket from 'ws';
import { ReplaySource } from '../../src/devices/replay-source.ts';
import { systemClock } from '../../src/devices/system-clock.ts';
import { silentLogger } from '../../src/foundation/logger.ts';
import { encodeNotification } from '../../src/protocol/notification.ts';
import { encodeSensorDescription } from '../../src/protocol/sensor-description.ts';
import { databaseFile, PracticeKeeper } from '../../src/server/practice/practice-keeper.ts';
import { startService } from '../../src/server/service.ts';
import type { RunningService, ServiceOptions } from '../../src/server/service-options.ts';
import type { LiveDocument, WireSensor } from '../../src/server/wire/live-document.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';
import { temporaryFolder } from '../helpers/temporary-folder.ts';
import { ballDescription, plainStream, streamFrame } from '../protocol/made-frames.ts';
import { shotDocument } from './made-shots.ts';

const descriptionBytes = encodeSensorDescription(ballDescription);

let folder = '';
let running: RunningService[] = [];

beforeEach(() => {
  folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-service-'));
});
afterEach(async () => {
  for (const service of running) await service.close();
  running = [];
  rmSync(folder, { recursive: true, force: true });
});

/** A sensor that lies still: 400 packets, one of them lost, one damaged. */
function stillSensor(): ReplaySource {
  const notifications = Array.from({ length: 400 }, (_, at) => {
    const bytes = encodeNotification(streamFrame(plainStream, at));
    if (at === 200) bytes[20] = (bytes[20] ?? 0) ^ 0xff;
    return { bytes, hostTimeS: 1.7e9 + at * 0.025 };
  }).filter((_, at) => at !== 100);
  const description = encodeSensorDescription({ ...ballDescription, accelRateHz: 190, gyroRateHz: 190 });
  const sensors = [{ sensorId: ballDescription.sensorId, description, notifications }];
  return new ReplaySource({ clock: systemClock, pace: 'fast', simulated: true, sensors });
}

async function start(change: Partial<ServiceOptions> = {}): Promise<RunningService> {
  const service = await startService({
    version: '1.2.3',
    port: 0,
    dataFolder: folder,
    pageFolder: path.join(folder, 'no-page'),
    settings: defaultBallSettings,
    source: stillSensor(),
    threadCount: 1,
    ...change,
  });
  running.push(service);
  return service;
}

async function getJson<T>(service: RunningService, route: string): Promise<T> {
  const answer = await fetch(new URL(route, service.url));
  expect(answer.status).toBe(200);
  return (await answer.json()) as T;
}

describe('the service', () => {
  test('leads the packets of its source through the chain and tells how the sensor does', async () => {
    const service = await start();
    let sensors: readonly WireSensor[] = [];
    while (sensors[0]?.state !== 'ended') {
      ({ sensors } = await getJson<{ sensors: WireSensor[] }>(service, '/api/health'));
    }
    expect(sensors).toHaveLength(1);
    expect(sensors[0]).toMatchObject({
      sensorId: ballDescription.sensorId,
      state: 'ended',
      detail: null,
      notificationCount: 399,
      corruptCount: 1,
    });
    // The damaged one is missing too.
    expect(sensors[0]?.lostCount).toBe(2);
  });

  test('tells its pages the counts of a stream while it goes on', async () => {
    const notifications = Array.from({ length: 40 }, (_, at) => ({
      bytes: encodeNotification(streamFrame(plainStream, at)),
      hostTimeS: at * 0.025,
    }));
    const description = encodeSensorDescription({ ...ballDescription, accelRateHz: 190, gyroRateHz: 190 });
    const last = { bytes: encodeNotification(streamFrame(plainStream, 40)), hostTimeS: 60 };
    const sensors = [{ sensorId: 'b', description, notifications: [...notifications, last] }];
    const source = new ReplaySource({ clock: systemClock, pace: 'real-time', simulated: true, sensors });
    const service = await start({ source });
    const socket = new WebSocket(new URL('/api/live', service.url.replace('http', 'ws')));
    const sensor = await new Promise<WireSensor>((resolve) => {
      socket.on('message', (data) => {
        const document = JSON.parse(String(data)) as LiveDocument;
        if (document.kind === 'sensor' && document.sensor.notificationCount === 40) resolve(document.sensor);
      });
    });
    expect(sensor).toMatchObject({ sensorId: 'b', state: 'streaming', lostCount: 0, corruptCount: 0 });
    expect(sensor.sampleRateHz).toBeCloseTo(1e6 / plainStream.ticksPerRow, 1);
  });

  test('gives the shots of earlier runs', async () => {
    const keeper = await PracticeKeeper.open({
      dataFolder: folder,
      clock: systemClock,
      logger: silentLogger,
      simulated: true,
      settings: defaultBallSettings,
    });
    keeper.takeState({
      sensorId: 'ball-a',
      state: 'streaming',
      hostTimeS: 1,
      description: descriptionBytes,
      detail: null,
    });
    for (const index of [1, 2]) await keeper.keep(shotDocument(index), { streamIndex: 0 });
    await keeper.close();
    const service = await start();
    const { shots } = await getJson<{ shots: LiveDocument[] }>(service, '/api/shots');
    const kept = { playerId: null, outcome: 'unknown' };
    expect(shots).toEqual([
      { ...shotDocument(1), ...kept },
      { ...shotDocument(2), ...kept },
    ]);
  });

  test('stops at once, and twice does no harm', async () => {
    const service = await start();
    await Promise.all([service.close(), service.close()]);
    await expect(fetch(service.url)).rejects.toThrow();
  });

  test('listens on the loopback of IPv6 too', async (context) => {
    let service: RunningService;
    try {
      service = await start({ host: '::1' });
    } catch {
      return context.skip('skipped: no IPv6 loopback');
    }
    expect(service.url).toMatch(/^http:\/\/\[::1\]:\d+\/$/);
    await getJson(service, '/api/health');
  });
});

describe('what keeps the service from starting', () => {
  test.each(['0.0.0.0', '::', '192.168.1.5', 'localhost', 'gym.example'])('address %s', async (host) => {
    const change = { host } as unknown as Partial<ServiceOptions>;
    await expect(start(change)).rejects.toMatchObject({
      code: 'service-address',
      message: expect.stringContaining('expected host 127.0.0.1 or ::1'),
    });
  });

  test('a port that is taken', async () => {
    const { url } = await start();
    const port = Number(new URL(url).port);
    await expect(start({ port, dataFolder: temporaryFolder() })).rejects.toMatchObject({
      code: 'service-port',
      message: expect.stringContaining('stop that one or name another port'),
    });
  });

  test('a data folder into which another service writes, while that one runs', async () => {
    const first = await start();
    await expect(start()).rejects.toMatchObject({
      code: 'data-folder-in-use',
      message: expect.stringContaining(`in use by the service at ${first.url}`),
    });
    await getJson(first, '/api/health');
    await first.close();
    await start();
  });

  test.each([
    ['of a service that was killed', '{"url":"http://127.0.0.1:9/","runId":"abc"}'],
    ['that leads elsewhere', '{"url":"http://gym.example/","runId":"abc"}'],
    ['that makes no sense', '{"url'],
  ])('not a signature in the data folder %s', async (_name, text) => {
    appendFileSync(path.join(folder, 'in-use.json'), text);
    const service = await start();
    const { runId } = JSON.parse(readFileSync(path.join(folder, 'in-use.json'), 'utf8')) as { runId: string };
    expect(await getJson(service, '/api/health')).toMatchObject({ runId });
    await service.close();
    expect(existsSync(path.join(folder, 'in-use.json'))).toBe(false);
  });

  test('a data folder that is a file', async () => {
    const dataFolder = path.join(folder, 'file');
    appendFileSync(dataFolder, '');
    await expect(start({ dataFolder })).rejects.toMatchObject({ code: 'data-folder' });
  });

  test('a database that is none', async () => {
    appendFileSync(path.join(folder, databaseFile), 'x'.repeat(4096));
    await expect(start()).rejects.toMatchObject({ code: 'database-unusable' });
    // Nothing is left in the way of the next start.
    expect(existsSync(path.join(folder, 'in-use.json'))).toBe(false);
  });
});
