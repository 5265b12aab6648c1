import { afterEach, describe, expect, it, vi } from 'vitest';
import { sampleFlag } from '../../src/foundation/imu-block.ts';
import { type ChainEvent, SensorChain } from '../../src/live/notification-chain.ts';
import { encodeNotification } from '../../src/protocol/notification.ts';
import type { SensorDescription } from '../../src/protocol/sensor-description.ts';
import { BallTracker } from '../../src/shots/ball/ball-tracker.ts';
import { defaultBallSettings, type ShotEvent } from '../../src/shots/shot.ts';
import { ballDescription, plainStream, type StreamShape, streamFrame } from '../protocol/made-frames.ts';

const trueRateHz = 1e6 / plainStream.ticksPerRow;
const description: SensorDescription = { ...ballDescription, accelRateHz: 190, gyroRateHz: 190 };
const hostStartS = 1.7e9;

interface Notification {
  readonly bytes: Uint8Array;
  readonly hostTimeS: number;
}

/** Packets `from` to `to` of an undisturbed stream, each 5 ms on its way. */
function notifications(shape: StreamShape, from: number, to: number, startS = 0): Notification[] {
  return Array.from({ length: to - from }, (_, k) => {
    const lastRow = (from + k + 1) * shape.rows - 1;
    const hostTimeS = hostStartS + startS + (lastRow * shape.ticksPerRow) / 1e6 + 0.005;
    return { bytes: encodeNotification(streamFrame(shape, from + k)), hostTimeS };
  });
}

function runChain(input: readonly Notification[], options: Partial<ConstructorParameters<typeof SensorChain>[0]> = {}) {
  const chain = new SensorChain({ sensorName: 'ball-2', description, ballSettings: null, ...options });
  const events: ChainEvent[] = input.flatMap(({ bytes, hostTimeS }) => chain.push(bytes, hostTimeS));
  events.push(...chain.finish());
  const blocks = events.flatMap((event) => (event.kind === 'block' ? [event.block] : []));
  return {
    events,
    blocks,
    timeS: blocks.flatMap((block) => Array.from(block.timeS)),
    flags: blocks.flatMap((block) => Array.from(block.flags)),
    summary: chain.summary(),
    told: events.filter((event) => event.kind !== 'block'),
  };
}

describe('the chain of an undisturbed stream', () => {
  const { blocks, timeS, flags, summary, told } = runChain(notifications(plainStream, 0, 400));

  it('gives every row once, at its own time', () => {
    expect(timeS.length).toBe(2000);
    expect(timeS[0]).toBe(0);
    // Ticks are rounded to 1 µs, and the zero carries half a tick as well.
    timeS.forEach((time, row) => {
      expect(Math.abs(time - row / trueRateHz)).toBeLessThan(1e-6);
    });
    expect(flags.every((flag) => flag === 0)).toBe(true);
  });

  it('gives SI columns', () => {
    const rows = blocks.flatMap((block) => Array.from({ length: block.length }, (_, at) => [block, at] as const));
    rows.forEach(([block, at], row) => {
      for (let axis = 0; axis < 3; axis++) {
        expect(block.accelMps2[3 * at + axis]).toBeCloseTo(row * 0.488e-3 * 9.80665, 9);
        expect(block.gyroRadps![3 * at + axis]).toBeCloseTo((row * 0.07 * Math.PI) / 180, 9);
      }
    });
  });

  it('estimates the true rate and tells it once', () => {
    expect(told.map(({ kind }) => kind)).toEqual(['rate']);
    expect(Math.abs(summary.sampleRateHz! / trueRateHz - 1)).toBeLessThan(1e-5);
  });

  it('sums up', () => {
    expect(summary).toMatchObject({
      packets: 400,
      samples: 2000,
      gapCount: 0,
      corruptCount: 0,
      duplicateCount: 0,
      reorderedCount: 0,
      restartCount: 0,
      clippedShare: 0,
    });
    expect(summary.durationS).toBeCloseTo(1999 / trueRateHz, 6);
    expect(Math.abs(summary.timeZeroTick! - plainStream.firstTick)).toBeLessThan(1);
    expect(summary.clock.host!.hostTimeS - summary.clock.host!.referenceS).toBeCloseTo(hostStartS + 0.005, 3);
  });
});

describe('the chain of a disturbed stream', () => {
  it('tells a gap with its times and marks the row after it', () => {
    const all = notifications(plainStream, 0, 60);
    const { told, timeS, flags, summary } = runChain([...all.slice(0, 30), ...all.slice(33)]);
    expect(told).toMatchObject([
      { kind: 'rate' },
      {
        kind: 'gap',
        missingPackets: 3,
        missingSamples: 15,
        message: '3 packets (15 samples) of sensor ball-2 lost before packet 33',
      },
    ]);
    const gap = told[1] as Extract<ChainEvent, { kind: 'gap' }>;
    expect(gap.startS).toBeCloseTo(149 / trueRateHz, 5);
    expect(gap.endS).toBeCloseTo(165 / trueRateHz, 5);
    expect(flags.flatMap((flag, at) => (flag === sampleFlag.gapBefore ? [at] : []))).toEqual([150]);
    expect(timeS[150]).toBe(gap.endS);
    expect(summary).toMatchObject({ gapCount: 1, missingPackets: 3, missingSamples: 15, samples: 285 });
  });

  it('tells damage, duplicates and late packets, and goes on', () => {
    const all = notifications(plainStream, 0, 40);
    const damaged = { ...all[20]!, bytes: all[20]!.bytes.slice(0, 70) };
    const { told, summary, timeS } = runChain([
      ...all.slice(0, 10),
      all[11]!,
      all[10]!,
      all[10]!,
      ...all.slice(12, 20),
      damaged,
      ...all.slice(21),
    ]);
    expect(told).toMatchObject([
      { kind: 'rate' },
      {
        kind: 'reordered',
        restored: true,
        message: 'packet 10 of sensor ball-2 came late and was put back in its place',
      },
      { kind: 'duplicate', message: 'packet 10 of sensor ball-2 came twice' },
      {
        kind: 'corrupt',
        code: 'length',
        message: 'packet 20 of sensor ball-2: header says 5 samples, 70 bytes hold 4',
      },
      { kind: 'gap', missingPackets: 1, missingSamples: 5 },
    ]);
    expect(summary).toMatchObject({ packets: 41, corruptCount: 1, duplicateCount: 1, reorderedCount: 1, gapCount: 1 });
    expect(timeS.length).toBe(195);
    expect(timeS.every((time, at) => at === 0 || time > timeS[at - 1]!)).toBe(true);
  });

  it('goes on by the host clock after a restart, and says how well', () => {
    const again = { ...plainStream, startNumber: 4, firstTick: 500 };
    const { told, timeS, flags, summary } = runChain([
      ...notifications(plainStream, 0, 800),
      ...notifications(again, 0, 50, 25),
    ]);
    expect(told.map(({ kind }) => kind)).toEqual(['rate', 'restart']);
    const restart = told[1] as Extract<ChainEvent, { kind: 'restart' }>;
    // Delays were all alike, so that the host clock carries the time to within what a host can stamp: 0.1 ms.
    expect(Math.abs(restart.timeS - 25)).toBeLessThan(3e-4);
    expect(restart.standardErrorS).toBeLessThan(3e-4);
    expect(timeS[4000]).toBe(restart.timeS);
    expect(flags[4000]).toBe(sampleFlag.gapBefore);
    expect(summary.restartCount).toBe(1);
    expect(Math.abs(summary.timeZeroTick! - plainStream.firstTick)).toBeLessThan(1);
  });

  it('marks a pause of the sensor as a gap without missing rows', () => {
    const later = { ...plainStream, firstTick: plainStream.firstTick + 2e6 };
    const { told, flags } = runChain([...notifications(plainStream, 0, 40), ...notifications(later, 40, 60, 2)]);
    expect(told).toMatchObject([{ kind: 'rate' }, { kind: 'gap', missingPackets: 0, missingSamples: 0 }]);
    const gap = told[1] as Extract<ChainEvent, { kind: 'gap' }>;
    expect(gap.endS - gap.startS).toBeCloseTo(2 + 1 / trueRateHz, 5);
    expect(flags[200]).toBe(sampleFlag.gapBefore);
  });

  it('marks clipped rows and counts them', () => {
    const frame = streamFrame(plainStream, 5);
    // ±2000 °/s at 70 mdps a unit: 28571 is the last raw value inside, and at the end of the range.
    frame.samples.set([32_767, 0, 0, 0, 0, 0], 0);
    frame.samples.set([0, -32_768, 0, 0, 0, 0], 6);
    frame.samples.set([0, 0, 0, 0, 28_571, 0], 12);
    frame.samples.set([0, 0, -32_767, 0, 0, -28_600], 18);
    frame.samples.set([32_766, 0, 0, 28_570, -28_570, 0], 24);
    const all = notifications(plainStream, 0, 20);
    all[5] = { ...all[5]!, bytes: encodeNotification(frame) };
    const { flags, summary } = runChain(all);
    const { accelClipped, gyroClipped } = sampleFlag;
    expect(flags.slice(25, 30)).toEqual([accelClipped, accelClipped, gyroClipped, accelClipped | gyroClipped, 0]);
    expect(summary.clippedShare).toBe(4 / 100);
  });

  it('refuses rows that the description does not have', () => {
    const { told, blocks } = runChain(notifications({ ...plainStream, axes: 3 }, 0, 4));
    expect(blocks).toEqual([]);
    expect(told).toHaveLength(4);
    expect(told[0]).toMatchObject({ kind: 'corrupt', code: 'axes' });
  });

  it('takes host times that are no numbers as unknown', () => {
    const input = notifications(plainStream, 0, 20).map((one) => ({ ...one, hostTimeS: Number.NaN }));
    const { timeS, summary } = runChain(input);
    expect(timeS.length).toBe(100);
    expect(summary.clock.host).toBeNull();
  });

  it('survives senseless bytes alone', () => {
    const { told, summary } = runChain([{ bytes: new Uint8Array(244).fill(0xff), hostTimeS: 1 }]);
    expect(told).toMatchObject([{ kind: 'corrupt', code: 'version' }]);
    expect(summary).toMatchObject({
      samples: 0,
      durationS: 0,
      sampleRateHz: null,
      timeZeroTick: null,
      clippedShare: 0,
    });
  });
});

describe('the chain of other sensors', () => {
  it('turns axes as the description says', () => {
    const turned: SensorDescription = { ...description, accelAxes: [-2, 1, 3], gyroAxes: [3, -1, -2] };
    const frame = { ...streamFrame({ ...plainStream, rows: 1 }, 0), samples: Int16Array.of(100, 200, 300, 10, 20, 30) };
    const { blocks } = runChain([{ bytes: encodeNotification(frame), hostTimeS: 0 }], { description: turned });
    const accelUnit = 0.488e-3 * 9.80665;
    const gyroUnit = (0.07 * Math.PI) / 180;
    [-200, 100, 300].forEach((raw, axis) => {
      expect(blocks[0]!.accelMps2[axis]).toBeCloseTo(raw * accelUnit, 9);
    });
    [30, -10, -20].forEach((raw, axis) => {
      expect(blocks[0]!.gyroRadps![axis]).toBeCloseTo(raw * gyroUnit, 9);
    });
  });

  it('has no gyroscope column without a gyroscope', () => {
    const accelOnly: SensorDescription = {
      ...description,
      gyroRateHz: null,
      gyroScaleRadpsPerLsb: null,
      gyroRangeRadps: null,
    };
    const { blocks, timeS } = runChain(notifications({ ...plainStream, axes: 3 }, 0, 20), { description: accelOnly });
    expect(timeS.length).toBe(100);
    expect(blocks.every((block) => block.gyroRadps === null)).toBe(true);
  });

  it('reads the short form', () => {
    const shape = { ...plainStream, form: 'short' as const, rows: 1 };
    const { timeS, told } = runChain(notifications(shape, 0, 300));
    expect(timeS.length).toBe(300);
    expect(told.map(({ kind }) => kind)).toEqual(['rate']);
    expect(timeS[299]).toBeCloseTo(299 / trueRateHz, 5);
  });
});

describe('the tracker behind the chain', () => {
  afterEach(() => {
    vi.restoreAllMocks();
  });

  it('gets every block and has its events passed on in order', () => {
    const rejected = (startS: number): ShotEvent => ({
      kind: 'rejected',
      rejected: { startS, endS: startS + 1, kind: 'toss', reason: 'made up' },
    });
    const push = vi.spyOn(BallTracker.prototype, 'push').mockImplementation((block) => [rejected(block.timeS[0]!)]);
    const finish = vi.spyOn(BallTracker.prototype, 'finish').mockImplementation(() => [rejected(-1)]);
    const { events, blocks } = runChain(notifications(plainStream, 0, 30), { ballSettings: defaultBallSettings });
    expect(push.mock.calls.map(([block]) => block)).toEqual(blocks);
    expect(finish).toHaveBeenCalledOnce();
    expect(events.at(-1)).toEqual(rejected(-1));
    events.forEach((event, at) => {
      if (event.kind === 'block') expect(events[at + 1]).toEqual(rejected(event.block.timeS[0]!));
    });
  });
});
