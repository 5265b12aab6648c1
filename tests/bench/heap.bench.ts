import { SensorChain } from '../../src/live/notification-chain.ts';
import { decodeNotification, encodeNotification, type NotificationFrame } from '../../src/protocol/notification.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';
import { practiceNotifications } from '../helpers/bench-practice.ts';
import type { BenchContext, BenchFigure } from './bench.ts';

const hours = 4;
const rateHz = 200;
const actCount = 50;
/** Simulated time between two looks at the heap. */
const lookEveryS = 900;
/** Looks before this are left out of the slope: code is still being compiled. */
const settledS = 1800;

interface Packet {
  readonly frame: NotificationFrame;
  readonly hostTimeS: number;
}

/**
 * Heap over a session of four hours at 200 Hz through the whole chain, after forced collections. Some eight minutes are
 * simulated and then played again and again, counters, ticks and host time going on as if it were one session; nothing
 * is kept here but those eight minutes.
 */
export async function figures({ say }: BenchContext): Promise<readonly BenchFigure[]> {
  const collect = globalThis.gc;
  if (!collect) throw new Error('the garbage collector cannot be called: expected node --expose-gc');
  const { description, notifications } = practiceNotifications('bench heap', actCount, rateHz);
  const packets: Packet[] = [];
  for (const { bytes, hostTimeS } of notifications) {
    const decoded = decodeNotification(bytes);
    if (decoded.kind === 'frame') packets.push({ frame: decoded.frame, hostTimeS });
  }
  const lap = lapOf(packets);
  const chain = new SensorChain({ sensorName: 'bench', description, ballSettings: defaultBallSettings });
  const looks: { readonly hour: number; readonly megabytes: number }[] = [];
  const laps = Math.ceil((hours * 3600) / lap.durationS);
  let shots = 0;
  let nextLookS = 0;
  const startMs = performance.now();
  for (let turn = 0; turn < laps; turn++) {
    for (const packet of packets) {
      const events = chain.push(
        encodeNotification(later(packet.frame, lap, turn)),
        packet.hostTimeS + turn * lap.durationS,
      );
      for (const event of events) if (event.kind === 'shot' && event.shot.stage === 'final') shots++;
      const atS = packet.hostTimeS - (packets[0] as Packet).hostTimeS + turn * lap.durationS;
      if (atS < nextLookS) continue;
      nextLookS += lookEveryS;
      // Twice: the first finds what weak references and finalisers held.
      collect();
      collect();
      looks.push({ hour: atS / 3600, megabytes: process.memoryUsage().heapUsed / 1e6 });
      say(`  after ${(atS / 3600).toFixed(2)} h: ${looks.at(-1)?.megabytes.toFixed(2)} MB, ${shots} shots`);
    }
  }
  const spentS = (performance.now() - startMs) / 1000;
  const settled = looks.filter(({ hour }) => hour * 3600 >= settledS);
  return [
    { name: 'heap slope', value: slope(settled), unit: 'MB per simulated hour' },
    { name: 'heap at the end', value: looks.at(-1)?.megabytes ?? Number.NaN, unit: 'MB' },
    { name: 'simulated and played again', value: lap.durationS, unit: 's a lap' },
    { name: 'shots', value: shots, unit: '' },
    { name: 'speed, collections included', value: (laps * lap.durationS) / spentS, unit: 'x real time' },
  ];
}

interface Lap {
  readonly packets: number;
  readonly samples: number;
  readonly ticks: number;
  readonly durationS: number;
}

/** How far the counters move on in one lap: to one packet after the last. */
function lapOf(packets: readonly Packet[]): Lap {
  const first = packets[0];
  const last = packets.at(-1);
  if (!first || !last) throw new Error('the bench wants packets, got none');
  const rows = last.frame.samples.length / last.frame.axes;
  const wrapped = (to: number, from: number, modulo: number) => (((to - from) % modulo) + modulo) % modulo;
  const samples = wrapped(last.frame.sampleIndex, first.frame.sampleIndex, 2 ** 32) + rows;
  const ticks = Math.round((wrapped(last.frame.tick, first.frame.tick, 2 ** 32) * samples) / (samples - rows));
  return {
    packets: Math.round(samples / rows),
    samples,
    ticks,
    // Ticks are microseconds.
    durationS: ticks / 1e6,
  };
}

function later(frame: NotificationFrame, lap: Lap, turn: number): NotificationFrame {
  return {
    ...frame,
    sequence: (frame.sequence + turn * lap.packets) % 2 ** 16,
    sampleIndex: (frame.sampleIndex + turn * lap.samples) % 2 ** 32,
    tick: (frame.tick + turn * lap.ticks) % 2 ** 32,
  };
}

/** Least-squares slope. */
function slope(looks: readonly { readonly hour: number; readonly megabytes: number }[]): number {
  const n = looks.length;
  const hour = looks.reduce((sum, look) => sum + look.hour, 0) / n;
  const megabytes = looks.reduce((sum, look) => sum + look.megabytes, 0) / n;
  let across = 0;
  let along = 0;
  for (const look of looks) {
    across += (look.hour - hour) * (look.megabytes - megabytes);
    along += (look.hour - hour) ** 2;
  }
  return across / along;
}
