import { type ChildProcess, fork } from 'node:child_process';
import { once } from 'node:events';
import { closeSync, fdatasyncSync, mkdtempSync, openSync, rmSync, writeSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import type { RecordedSensor } from '../../src/devices/replay-source.ts';
import { ReplaySource } from '../../src/devices/replay-source.ts';
import type { SensorProvider } from '../../src/devices/sensor-provider.ts';
import { systemClock } from '../../src/devices/system-clock.ts';
import type { Clock } from '../../src/foundation/clock.ts';
import { silentLogger } from '../../src/foundation/logger.ts';
import { buildServer } from '../../src/server/build-server.ts';
import { LiveHub } from '../../src/server/live-hub.ts';
import { startService } from '../../src/server/service.ts';
import { ShotLog } from '../../src/server/shot-log.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';
import { drawEndlessPlan } from '../../src/simulate/draw-plan.ts';
import { encodePractice } from '../../src/simulate/encoded-practice.ts';
import { drawSensor } from '../../src/simulate/sensor-model.ts';
import { madeShot } from '../server/made-shots.ts';
import type { BenchContext, BenchFigure } from './bench.ts';
import type { ReceivedShot } from './live-delay-client.ts';

/**
 * Delay from the arrival of the notification that completes a shot, early or final, to its WebSocket message in
 * another process: the whole service with 1, 4 and 16 sensors at 416 Hz in real time. The arrival is when the
 * notification was due, so that waiting for a busy service counts. Baseline: the same message without any analysis. The packets are
 * made and encoded beforehand and played by the service's own process, the client is another process on the same machine. A final shot
 * is on the disk before it is told: what the disk alone takes for that stands beside it.
 */

/** Sensors, and for how long they are played: the fewer, the longer, so that there are shots enough. */
const runs = [
  { sensorCount: 1, practiceS: 180 },
  { sensorCount: 4, practiceS: 90 },
  { sensorCount: 16, practiceS: 60 },
] as const;
/** The packets go on for so long after the last message that counts. */
const packetsLongerS = 2;
const distinctPractices = 4;
/** How long the service has been up when the first packet comes: long enough for its threads to have started and warmed up. */
const upS = 15;
const rateHz = 416;
const bareMessageCount = 400;
const syncCount = 200;
/** Four pages of the database. */
const rowBytes = 16_384;

/** One clock for both processes; the system's monotonic one. */
const clock: Clock = {
  nowS: () => Number(process.hrtime.bigint()) / 1e9,
  schedule: (atS, callback) => systemClock.schedule(systemClock.nowS() + (atS - clock.nowS()), callback),
};

export async function figures({ say }: BenchContext): Promise<readonly BenchFigure[]> {
  const longestS = Math.max(...runs.map(({ practiceS }) => practiceS)) + packetsLongerS;
  const practices = Array.from({ length: distinctPractices }, (_, k) => recordPractice(`live delay ${k}`, longestS));
  const bare = delays(await receiveBare());
  const bareMs = quantile(bare, 0.99);
  const results = [...summarise('message without analysis', bare), ...summarise('disk alone', await syncs())];
  for (const { sensorCount, practiceS } of runs) {
    const name = sensorCount === 1 ? '1 sensor' : `${sensorCount} sensors`;
    say(`  ${name} for ${practiceS} s`);
    const received = await receiveFrom(sensorsFrom(practices, sensorCount, practiceS + packetsLongerS), practiceS);
    const all = delays(received);
    results.push(...summarise(name, all));
    results.push(...summarise(`${name}, early`, delays(received.filter((shot) => shot.stage === 'early'))));
    results.push(...summarise(`${name}, final`, delays(received.filter((shot) => shot.stage === 'final'))));
    results.push({
      name: `${name}, p99 over that of the bare message`,
      value: quantile(all, 0.99) / bareMs,
      unit: 'x',
    });
  }
  return results;
}

function recordPractice(seed: string, practiceS: number): Omit<RecordedSensor, 'sensorId'> {
  const sensor = drawSensor(seed, { rateHz });
  const { description, chunks } = encodePractice({ seed, acts: drawEndlessPlan(seed), sensor });
  const notifications: RecordedSensor['notifications'][number][] = [];
  const endS = sensor.link.hostStartS + practiceS;
  for (const chunk of chunks) {
    for (const { bytes, hostTimeS } of chunk.notifications) {
      if (hostTimeS > endS) return { description, notifications };
      notifications.push({ bytes, hostTimeS });
    }
  }
  return { description, notifications };
}

/** Sensors that use one practice are a few seconds apart, so that their shots are not in step. */
function sensorsFrom(
  practices: readonly Omit<RecordedSensor, 'sensorId'>[],
  count: number,
  practiceS: number,
): RecordedSensor[] {
  return Array.from({ length: count }, (_, index) => {
    const { description, notifications } = practices[index % practices.length] as Omit<RecordedSensor, 'sensorId'>;
    const shiftS = Math.floor(index / practices.length) * 1.7;
    return {
      sensorId: `ball-${index}`,
      description,
      notifications: notifications
        .filter(({ hostTimeS }) => hostTimeS < (notifications[0]?.hostTimeS ?? 0) + practiceS)
        .map((packet) => ({ ...packet, hostTimeS: packet.hostTimeS + shiftS })),
    };
  });
}

/** @param practiceS for how long messages are taken, s; the packets go on a little longer. */
async function receiveFrom(sensors: readonly RecordedSensor[], practiceS: number): Promise<ReceivedShot[]> {
  const dataFolder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-live-delay-'));
  const replay = new ReplaySource({ sensors, clock, pace: 'real-time', simulated: true });
  // The client must be there before the first shot is.
  const { kind, simulated, notifications, states, providerStates, information } = replay;
  const source: SensorProvider = {
    ...{ kind, simulated, notifications, states, providerStates, information },
    discover: () => replay.discover(),
    identify: (sensorId) => replay.identify(sensorId),
    open() {},
    close: () => replay.close(),
  };
  const settings = defaultBallSettings;
  const service = await startService({
    version: 'bench',
    port: 0,
    dataFolder,
    pageFolder: '',
    settings,
    source,
    clock,
  });
  try {
    const client = await openClient(service.url);
    await new Promise<void>((resolve) => clock.schedule(clock.nowS() + upS, resolve));
    replay.open('any');
    // What is told at the end of the packets was completed by no packet.
    await new Promise<void>((resolve) => clock.schedule(clock.nowS() + practiceS, resolve));
    return await closeClient(client);
  } finally {
    await service.close();
    rmSync(dataFolder, { recursive: true, force: true });
  }
}

async function receiveBare(): Promise<ReceivedShot[]> {
  const hub = new LiveHub({
    log: new ShotLog(),
    clock,
    version: 'bench',
    runId: 'bench',
    simulated: true,
    latestShotCount: 1,
  });
  const server = await buildServer({ hub, pageFolder: '', port: 0, logger: silentLogger });
  const url = await server.listen({ host: '127.0.0.1', port: 0 });
  const client = await openClient(url);
  for (let index = 0; index < bareMessageCount; index++) {
    await new Promise<void>((resolve) => clock.schedule(clock.nowS() + 0.01, resolve));
    const event = { kind: 'shot', shot: madeShot(index) } as const;
    hub.publish({ sensorId: 'ball', streamIndex: 0, hostTimeS: clock.nowS(), event });
  }
  const received = await closeClient(client);
  await server.close();
  return received;
}

async function openClient(url: string): Promise<ChildProcess> {
  const script = fileURLToPath(new URL('./live-delay-client.ts', import.meta.url));
  const client = fork(script, [new URL('/api/live', url.replace('http', 'ws')).href], { serialization: 'advanced' });
  await once(client, 'message');
  return client;
}

async function closeClient(client: ChildProcess): Promise<ReceivedShot[]> {
  // What was just sent must have come.
  await new Promise<void>((resolve) => clock.schedule(clock.nowS() + 0.5, resolve));
  const answer = once(client, 'message');
  client.send('give');
  const [received] = (await answer) as [ReceivedShot[]];
  return received;
}

/** @returns how long it takes to have as much as a shot's rows on the disk, ms, ascending. */
async function syncs(): Promise<number[]> {
  const folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-live-delay-'));
  const file = openSync(path.join(folder, 'rows'), 'w');
  const tookMs: number[] = [];
  for (let index = 0; index < syncCount; index++) {
    await new Promise<void>((resolve) => clock.schedule(clock.nowS() + 0.02, resolve));
    writeSync(file, Buffer.alloc(rowBytes, index));
    const startS = clock.nowS();
    fdatasyncSync(file);
    tookMs.push((clock.nowS() - startS) * 1000);
  }
  closeSync(file);
  rmSync(folder, { recursive: true, force: true });
  return tookMs.sort((one, other) => one - other);
}

/** @returns milliseconds, ascending. */
function delays(received: readonly ReceivedShot[]): number[] {
  return received.map(({ hostTimeS, receivedS }) => (receivedS - hostTimeS) * 1000).sort((one, other) => one - other);
}

function quantile(sorted: readonly number[], share: number): number {
  return sorted[Math.min(sorted.length - 1, Math.floor(share * sorted.length))] ?? Number.NaN;
}

function summarise(name: string, sortedMs: readonly number[]): BenchFigure[] {
  return [
    { name: `${name}, times`, value: sortedMs.length, unit: '' },
    { name: `${name}, p50`, value: quantile(sortedMs, 0.5), unit: 'ms' },
    { name: `${name}, p99`, value: quantile(sortedMs, 0.99), unit: 'ms' },
    { name: `${name}, longest`, value: quantile(sortedMs, 1), unit: 'ms' },
  ];
}
