import { describe, expect, test } from 'vitest';
import { type ImuBlock, sampleFlag } from '../../src/foundation/imu-block.ts';
import { FirstMinute, type FirstMinuteProgress } from '../../src/live/first-minute.ts';
import type { Vec3 } from '../../src/signal/vec3.ts';
import { inPieces } from '../helpers/hand-turned-sensor.ts';
import { uniformFrom } from '../signal/simulated-sensor-clock.ts';

const rateHz = 200;

interface Act {
  readonly s: number;
  readonly force: (t: number) => Vec3;
  readonly rate: (t: number) => Vec3;
  readonly flags?: number;
}

const g = 9.80665;
const lie = (s: number): Act => ({ s, force: () => [0.1, 0, g], rate: () => [0.01, 0, 0] });
const spin = (s: number, revPerS: number, flags = 0): Act => ({
  s,
  flags,
  force: () => [3, 0, g],
  rate: () => [2 * Math.PI * revPerS, 0, 0],
});
const handled = (s: number): Act => ({
  s,
  force: (t) => [0, 4 * Math.sin(9 * t), g],
  rate: (t) => [Math.sin(5 * t), 0, 0],
});
const air = (s: number): Act => ({ s, force: () => [0.5, 0.6, 0.2], rate: () => [1, 0, 0] });
const caught = (s: number): Act => ({ s, force: () => [0, 0, 30], rate: () => [1, 0, 0] });
/** The forearm hangs along x and turns about it. */
const hang = (s: number): Act => ({ s, force: () => [g, 0, 0.2], rate: () => [0.02, 0, 0] });
const turns = (s: number): Act => ({ s, force: () => [g, 0, 0.2], rate: (t) => [4 * Math.sin(2 * Math.PI * t), 0, 0] });

function played(acts: readonly Act[]): ImuBlock {
  const uniform = uniformFrom(3);
  const noise = (sd: number) => sd * Math.sqrt(-2 * Math.log(1 - uniform())) * Math.cos(2 * Math.PI * uniform());
  const rows = acts.flatMap((act) =>
    Array.from({ length: Math.round(act.s * rateHz) }, (_, at) => {
      const t = at / rateHz;
      return { force: act.force(t), rate: act.rate(t), flags: act.flags ?? 0 };
    }),
  );
  return {
    length: rows.length,
    timeS: Float64Array.from(rows, (_, at) => at / rateHz),
    accelMps2: Float64Array.from(rows.flatMap(({ force }) => force.map((value) => value + noise(0.03)))),
    gyroRadps: Float64Array.from(rows.flatMap(({ rate }) => rate.map((value) => value + noise(0.0012)))),
    flags: Uint8Array.from(rows, ({ flags }) => flags),
  };
}

function led(acts: readonly Act[], { onArm = false, piece = 7 } = {}): FirstMinuteProgress {
  const guide = new FirstMinute({ onArm, hasGyro: true });
  for (const block of inPieces(played(acts), piece)) guide.push(block);
  return guide.progress;
}

describe('the first minute with a sensor in the ball', () => {
  const whole = [handled(1), lie(4), handled(1), spin(1.5, 2), handled(1), air(0.6), caught(0.3)];

  test('goes from rest to spin to toss, and tells what it found', () => {
    const steps = whole.map((_, at) => led(whole.slice(0, at + 1)).step);
    expect(steps).toEqual(['rest', 'spin', 'spin', 'toss', 'toss', 'toss', 'done']);
    const { found, troubles } = led(whole);
    // Size of (0.1, 0, g): 0.0005 m/s² above 1 g; the mean of 300 readings of noise 0.03 is good to 0.002.
    expect(found.restErrorMps2).toBeCloseTo(0.0005, 1);
    expect(Math.abs((found.gyroBiasRadps?.[0] ?? 0) - 0.01)).toBeLessThan(5 * (0.0012 / Math.sqrt(300)));
    expect(found.spinRadps).toBeCloseTo(4 * Math.PI, 1);
    // Two samples of 5 ms.
    expect(Math.abs((found.flightS ?? 0) - 0.6)).toBeLessThanOrEqual(0.01);
    expect(troubles).toEqual([]);
  });

  test('any split of the stream gives the same', () => {
    expect(led(whole, { piece: 1 })).toEqual(led(whole, { piece: 500 }));
  });

  test('a sensor that does not read 1 g at rest, or clips as it spins, is told', () => {
    const off: Act = { ...lie(4), force: () => [0, 0, 10.6] };
    expect(led([off]).troubles).toEqual(['rest-off']);
    expect(led([lie(4), spin(1.5, 2, sampleFlag.gyroClipped)]).troubles).toEqual(['clipped']);
  });

  test('what is too short is no spin and no toss', () => {
    expect(led([lie(4), spin(0.5, 2)])).toMatchObject({ step: 'spin', share: 0.5 });
    expect(led([lie(4), spin(1.5, 2), air(0.2), caught(0.3)])).toMatchObject({
      step: 'toss',
      found: { flightS: null },
    });
    expect(led([lie(1)])).toMatchObject({ step: 'rest' });
  });
});

describe('the first minute with a sensor on the arm', () => {
  test('the arm hangs, then the forearm turns to and fro', () => {
    expect(led([handled(1), hang(2)], { onArm: true }).step).toBe('hang');
    expect(led([handled(1), hang(3.2)], { onArm: true }).step).toBe('turns');
    const { step, found } = led([handled(1), hang(4), turns(5)], { onArm: true });
    expect(step).toBe('done');
    expect(found.swings).toBeGreaterThanOrEqual(6);
  });

  test('an arm that only hangs is not turned', () => {
    expect(led([hang(9)], { onArm: true })).toMatchObject({ step: 'turns', found: { swings: 0 } });
  });
});
