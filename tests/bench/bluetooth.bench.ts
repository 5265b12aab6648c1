import { readFileSync } from 'node:fs';
import process from 'node:process';
import { encodeNotification } from '../../src/protocol/notification.ts';
import { type ChildAir, childAir } from '../devices/bluetooth/through-child.ts';
import { plainStream, streamFrame } from '../protocol/made-frames.ts';
import type { BenchContext, BenchFigure } from './bench.ts';

/**
 * The way through the radio's process over the virtual controller, whose own work is in the figures: how many
 * notifications a second it carries, how long one is on its way at 8 sensors of 416 Hz, and what the process costs then.
 * The delay is from the controller's hand-over to the provider's emission; the host time of a notification is taken
 * inside the radio's process, so that part of it is told apart.
 */
export async function figures({ say }: BenchContext): Promise<readonly BenchFigure[]> {
  return [...(await throughput(say)), ...(await delayAndCost(say))];
}

async function throughput(say: (line: string) => void): Promise<BenchFigure[]> {
  const air = await childAir({ sensors: [{ number: 1 }], streaming: false });
  const sensor = air.sensors[0]!;
  air.provider.open('any');
  await air.seen.until('the start', () => sensor.startCount === 1, 60_000);
  const packets = Array.from({ length: 20_000 }, (_, at) =>
    encodeNotification(streamFrame({ ...plainStream, rows: 19 }, at)),
  );
  const startMs = performance.now();
  for (const [at, bytes] of packets.entries()) {
    sensor.send(bytes);
    while (at + 1 - air.seen.packets.length > 120) await new Promise((resolve) => setImmediate(resolve));
  }
  const endMs = performance.now() + 10_000;
  while (air.seen.packets.length < packets.length && performance.now() < endMs) {
    await new Promise((resolve) => setImmediate(resolve));
  }
  const perSecond = (1000 * air.seen.packets.length) / (performance.now() - startMs);
  const lost = packets.length - air.seen.packets.length;
  say(`through the process: ${perSecond.toFixed(0)} notifications/s`);
  await air.close();
  return [
    { name: 'notifications of 244 bytes through the process', value: perSecond, unit: '1/s' },
    { name: 'of 20,000 lost', value: lost, unit: '' },
  ];
}

async function delayAndCost(say: (line: string) => void): Promise<BenchFigure[]> {
  const air = await childAir({ sensors: Array.from({ length: 8 }, (_, at) => ({ number: at + 1 })), streaming: false });
  const handedOverS = new Map<string, number>();
  const wholeMs: number[] = [];
  const insideMs: number[] = [];
  for (const sensor of air.sensors) {
    const send = sensor.send.bind(sensor);
    sensor.send = (bytes) => {
      handedOverS.set(keyOf(sensor.sensorId, bytes), nowS());
      return send(bytes);
    };
    sensor.streamInRealTime({ ...plainStream, rows: 10, ticksPerRow: 2404 }, 416);
  }
  air.provider.notifications.subscribe(({ sensorId, bytes, hostTimeS }) => {
    const key = keyOf(sensorId, bytes);
    const startS = handedOverS.get(key);
    if (startS === undefined) return;
    handedOverS.delete(key);
    wholeMs.push(1000 * (nowS() - startS));
    insideMs.push(1000 * (hostTimeS - startS));
  });
  air.provider.open('any');
  await air.seen.until('eight streams', () => air.sensors.every(({ startCount }) => startCount === 1), 60_000);
  await new Promise((resolve) => setTimeout(resolve, 2000));
  wholeMs.length = 0;
  insideMs.length = 0;
  const childBefore = cpuS(air);
  const ownBefore = process.cpuUsage();
  const startMs = performance.now();
  await new Promise((resolve) => setTimeout(resolve, 20_000));
  const elapsedS = (performance.now() - startMs) / 1000;
  const own = process.cpuUsage(ownBefore);
  const childAfter = cpuS(air);
  const figuresOut: BenchFigure[] = [
    { name: '8 sensors at 416 Hz: notifications', value: wholeMs.length / elapsedS, unit: '1/s' },
    ...delays('controller to provider', wholeMs),
    ...delays('controller to receipt in the process', insideMs),
    {
      name: 'CPU of this process, controller and sensors included',
      value: (own.user + own.system) / 1e4 / elapsedS,
      unit: '%',
    },
  ];
  if (childBefore !== null && childAfter !== null) {
    figuresOut.push({
      name: "CPU of the radio's process",
      value: (100 * (childAfter - childBefore)) / elapsedS,
      unit: '%',
    });
  }
  say(`8 sensors: ${wholeMs.length} notifications in ${elapsedS.toFixed(0)} s`);
  await air.close();
  return figuresOut;
}

function delays(name: string, delaysMs: readonly number[]): BenchFigure[] {
  const inOrder = delaysMs.toSorted((one, other) => one - other);
  const at = (share: number): number =>
    inOrder[Math.min(inOrder.length - 1, Math.floor(share * inOrder.length))] ?? Number.NaN;
  return [0.5, 0.99].map((share) => ({ name: `${name}, p${100 * share}`, value: at(share), unit: 'ms' }));
}

function nowS(): number {
  return (performance.timeOrigin + performance.now()) / 1000;
}

/** Sensor, start number and sequence. */
function keyOf(sensorId: string, bytes: Uint8Array): string {
  return `${sensorId} ${bytes[1]} ${bytes[2]! | (bytes[3]! << 8)}`;
}

/** @returns processor time of the radio's process so far, or null where the system does not say it (proc(5), stat). */
function cpuS({ radio }: ChildAir): number | null {
  try {
    const fields = readFileSync(`/proc/${radio.processId}/stat`, 'utf8').split(') ')[1]!.split(' ');
    const ticksPerSecond = 100;
    return (Number(fields[11]) + Number(fields[12])) / ticksPerSecond;
  } catch {
    return null;
  }
}
