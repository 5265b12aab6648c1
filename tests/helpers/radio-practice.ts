/**
 * One simulated practice on two ways into the same service: replayed as a file is, and over the virtual radio, noble and
 * the radio's process.
 */
import { execFileSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { once } from 'node:events';
import { mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import process from 'node:process';
import { WebSocket } from 'ws';
import { createBluetoothSensors } from '../../src/devices/bluetooth-sensors.ts';
import type { SensorStateEvent } from '../../src/devices/notification-source.ts';
import { ReplaySource } from '../../src/devices/replay-source.ts';
import type { SensorProvider } from '../../src/devices/sensor-provider.ts';
import { systemClock } from '../../src/devices/system-clock.ts';
import type { SensorNotification } from '../../src/foundation/sensor-notification.ts';
import { SensorChain } from '../../src/live/notification-chain.ts';
import { decodeSensorDescription } from '../../src/protocol/sensor-description.ts';
import { startService } from '../../src/server/service.ts';
import type { LiveDocument, ShotDocument } from '../../src/server/wire/live-document.ts';
import { type BallSettings, defaultBallSettings } from '../../src/shots/shot.ts';
import { drawPracticePlan } from '../../src/simulate/draw-plan.ts';
import { encodePractice } from '../../src/simulate/encoded-practice.ts';
import { drawSensor } from '../../src/simulate/sensor-model.ts';
import { serveRadio } from '../tools/virtual-radio/radio-server.ts';
import { VirtualController } from '../tools/virtual-radio/virtual-controller.ts';
import { VirtualSensor } from '../tools/virtual-radio/virtual-sensor.ts';

const settings: BallSettings = defaultBallSettings;
/** ACL packets on their way at most: the virtual host loses what a socket of 166 packets cannot hold, as a real one. */
const packetsOnTheWay = 40;

export interface MadePractice {
  readonly sensorId: string;
  readonly description: Uint8Array;
  readonly notifications: readonly SensorNotification[];
}

export function makePractice(seed: string, shots: number, rateHz = 416): MadePractice {
  const sensor = drawSensor(seed, { rateHz });
  const acts = drawPracticePlan(seed, { shots, decoys: Math.ceil(shots / 3) });
  const { description, chunks } = encodePractice({ seed, acts, sensor });
  const notifications = [...chunks].flatMap((chunk) => chunk.notifications);
  return { sensorId: sensor.sensorId, description, notifications };
}

export interface WentThrough {
  readonly received: readonly SensorNotification[];
  /** Final shots as the WebSocket told them, without what depends on the hour. */
  readonly shots: readonly ShotDocument['shot'][];
  /** Hash of times, forces, rates and flags of every sample. */
  readonly sampleHash: string;
  readonly sampleCount: number;
  /** Connections and packets that were lost on the way to the host. */
  readonly connections: number;
  readonly lostPackets: number;
  /** What was told of an interruption, and what it was. */
  readonly interruption: { readonly toldGapS: number; readonly trueGapS: number; readonly recordingS: number } | null;
}

/** The radio's process dies, or stands still, before packet `at`; so many packets fall due meanwhile and are lost. */
export interface Interruption {
  readonly kind: 'kill' | 'freeze';
  readonly at: number;
  readonly missedPackets: number;
  readonly freezeS: number;
}

export async function throughFile(practice: MadePractice): Promise<WentThrough> {
  const { sensorId, description, notifications } = practice;
  const sensors = [{ sensorId, description, notifications }];
  const source = new ReplaySource({ sensors, clock: systemClock, pace: 'fast', simulated: true });
  const received: SensorNotification[] = [];
  source.notifications.subscribe((packet) => received.push(packet));
  const shots = await throughService(source, async () => {});
  return { received, shots, ...samplesOf(description, received), connections: 0, lostPackets: 0, interruption: null };
}

export interface RadioWay {
  readonly mtu?: number;
  readonly aclBytes?: number;
  readonly delivery?: 'one' | 'batch';
}

export async function throughRadio(
  practice: MadePractice,
  way: RadioWay = {},
  breaks: Interruption | null = null,
): Promise<WentThrough> {
  const { mtu = 247, aclBytes = 251, delivery = 'one' } = way;
  const onTheWay = Math.floor(packetsOnTheWay / Math.ceil(mtu / aclBytes));
  const controller = new VirtualController({ aclBytes });
  const sensor = new VirtualSensor({ number: 1, mtu });
  sensor.descriptionBytes = practice.description;
  controller.add(sensor.peripheral);
  const server = await serveRadio(controller, { delivery });
  const source = createBluetoothSensors({ clock: systemClock, execArgv: server.execArgv });
  const received: SensorNotification[] = [];
  source.notifications.subscribe((packet) => received.push(packet));
  const radioProcess = watchProcess();
  const starts: SensorStateEvent[] = [];
  source.states.subscribe((event) => event.state === 'streaming' && starts.push(event));
  const shots = await throughService(source, async () => {
    await until(() => sensor.startCount === 1);
    let missed = 0;
    for (const [at, { bytes }] of practice.notifications.entries()) {
      if (breaks?.at === at) {
        await until(() => received.length === at);
        const childId = radioProcess();
        process.kill(childId, breaks.kind === 'kill' ? 'SIGKILL' : 'SIGSTOP');
        if (breaks.kind === 'freeze') await new Promise((resolve) => setTimeout(resolve, breaks.freezeS * 1000));
        await until(() => sensor.startCount === 2);
      }
      if (breaks && at >= breaks.at && at < breaks.at + breaks.missedPackets) {
        missed += 1;
        continue;
      }
      if (!sensor.send(bytes)) throw new Error('nobody listens any more');
      while (at + 1 - missed - received.length > onTheWay) await new Promise((resolve) => setImmediate(resolve));
      if (at % 8 === 0) await new Promise((resolve) => setImmediate(resolve));
    }
    await until(() => received.length === practice.notifications.length - missed).catch(() => {});
  });
  const lostPackets = server.lostPackets();
  await server.close();
  const connections = sensor.peripheral.connectionCount;
  const interruption = breaks === null ? null : gapOf(practice, received, starts, breaks.at);
  return { received, shots, ...samplesOf(practice.description, received), connections, lostPackets, interruption };
}

function gapOf(
  practice: MadePractice,
  received: readonly SensorNotification[],
  starts: readonly SensorStateEvent[],
  at: number,
) {
  const before = received[at - 1]!.hostTimeS;
  const trueGapS = received[at]!.hostTimeS - before;
  const toldGapS = starts.find(({ silentS }) => silentS !== undefined)?.silentS ?? Number.NaN;
  const first = practice.notifications[0]!.hostTimeS;
  return { toldGapS, trueGapS, recordingS: practice.notifications[at]!.hostTimeS - first };
}

/** @returns a way to the process id of the newest child of this process that holds a radio. */
function watchProcess(): () => number {
  return () => {
    const words = ['-eo', 'pid,ppid,args'];
    const lines = execFileSync('ps', words, { encoding: 'utf8' }).split('\n');
    const own = lines
      .map((line) => line.trim().split(/\s+/))
      .filter(([, parent, ...rest]) => {
        return parent === String(process.pid) && rest.some((word) => word.includes('bluetooth-child'));
      });
    const newest = own.at(-1)?.[0];
    if (newest === undefined) throw new Error('there is no process with a radio');
    return Number(newest);
  };
}

async function until(holds: () => boolean, withinMs = 150_000): Promise<void> {
  const endMs = performance.now() + withinMs;
  while (!holds()) {
    if (performance.now() > endMs) throw new Error(`it did not happen within ${withinMs} ms: ${holds}`);
    await new Promise((resolve) => setTimeout(resolve, 5));
  }
}

/** @returns the final shots that a client of the WebSocket was told. */
async function throughService(source: SensorProvider, play: () => Promise<void>): Promise<ShotDocument['shot'][]> {
  const dataFolder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-radio-practice-'));
  const options = { version: 'test', port: 0, dataFolder, pageFolder: '', settings, source, clock: systemClock };
  const waiting: LiveDocument[] = [];
  let service: Awaited<ReturnType<typeof startService>> | null = null;
  let socket: WebSocket | null = null;
  // The client is there before the first notification.
  const held: SensorProvider = Object.freeze({
    kind: source.kind,
    simulated: source.simulated,
    notifications: source.notifications,
    states: source.states,
    providerStates: source.providerStates,
    information: source.information,
    discover: () => source.discover(),
    identify: (sensorId: string) => source.identify(sensorId),
    open() {},
    close: () => source.close(),
  });
  try {
    service = await startService({ ...options, source: held });
    socket = new WebSocket(new URL('/api/live', service.url.replace('http', 'ws')));
    socket.on('message', (data) => waiting.push(JSON.parse(String(data)) as LiveDocument));
    await once(socket, 'open');
    const ended = (): boolean =>
      waiting.some((document) => document.kind === 'sensor' && document.sensor.state === 'ended');
    source.open('any');
    await play();
    if (source.kind !== 'replayed') await source.close();
    const endMs = performance.now() + 240_000;
    while (!ended()) {
      if (performance.now() > endMs) throw new Error('the sensor did not end');
      await new Promise((resolve) => setTimeout(resolve, 10));
    }
    // What is numbered goes before the state of a sensor; a moment for what is still being stored.
    await settle(waiting);
    return waiting
      .filter((document) => document.kind === 'shot')
      .filter(({ shot }) => shot.stage === 'final')
      .map(({ shot }) => shot);
  } finally {
    socket?.close();
    await service?.close();
    rmSync(dataFolder, { recursive: true, force: true });
  }
}

/** Waits until no numbered document has come for a while: the last ones may still be on their way to the disk. */
async function settle(documents: readonly LiveDocument[]): Promise<void> {
  const count = (): number => documents.filter(({ kind }) => kind === 'shot' || kind === 'rejected').length;
  for (let before = -1; before !== count(); ) {
    before = count();
    await new Promise((resolve) => setTimeout(resolve, 1500));
  }
}

function samplesOf(description: Uint8Array, received: readonly SensorNotification[]) {
  const chain = new SensorChain({
    sensorName: 'ball',
    description: decodeSensorDescription(description),
    ballSettings: null,
  });
  const hash = createHash('sha256');
  let sampleCount = 0;
  const take = (events: ReturnType<SensorChain['push']>): void => {
    for (const event of events) {
      if (event.kind !== 'block') continue;
      const { timeS, accelMps2, gyroRadps, flags } = event.block;
      sampleCount += event.block.length;
      for (const column of [timeS, accelMps2, gyroRadps ?? new Float64Array()])
        hash.update(new Uint8Array(column.buffer, column.byteOffset, column.byteLength));
      hash.update(flags);
    }
  };
  for (const { bytes, hostTimeS } of received) take(chain.push(bytes, hostTimeS));
  take(chain.finish());
  return { sampleHash: hash.digest('hex'), sampleCount };
}
