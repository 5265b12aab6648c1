import { describe, expect, it } from 'vitest';
import { doubtLift } from '../../../src/shots/wrist/lift-doubt.ts';
import { errorOf, type Way } from '../../../src/shots/wrist/ways.ts';
import { risenSensor } from './risen-sensor.ts';

const releaseS = 1.9;
const pickup = (timeS: number, share = 1, held = false): Way => ({ timeS, share, sdS: 0.018, held });

/** At 0.3 m until 0.4 s, then a low of 0 m about 0.6 s and another about 1.1 s, and up to 1 m. */
const twoLows = (secondM: number) => (t: number) => {
  const bump = (atS: number, halfS: number): number => Math.exp(-(((t - atS) / halfS) ** 2));
  return 0.3 - 0.3 * bump(0.6, 0.1) - (0.3 - secondM) * bump(1.1, 0.1) + 1 / (1 + Math.exp(-(t - 1.6) / 0.05));
};

function lift(heightM: (timeS: number) => number, pickups: readonly [Way, ...Way[]]) {
  const told = doubtLift(risenSensor(heightM), pickups, pickups[0].timeS, releaseS, 0.01);
  return { ...told, errorS: errorOf(told.ways, told.liftS) };
}

describe('the lift of a ball that was picked up', () => {
  it('is well known where one low is clearly the lowest', () => {
    const { liftS, errorS, dip } = lift(twoLows(0.25), [pickup(0.3)]);
    expect(Math.abs(liftS - 0.6)).toBeLessThan(0.03);
    expect(errorS).toBeLessThan(0.1);
    expect(Math.abs(dip.dipM - 0.3)).toBeLessThan(0.03);
    // 0.12 m/s, now and then three times as much, over the 0.3 s from the pickup to the low.
    expect(dip.errorM).toBeGreaterThan(0.015);
    expect(dip.errorM).toBeLessThan(0.06);
  });

  it('may be at another low, half a second away, that an error of the speed of a tenth of a metre a second makes the lowest', () => {
    for (const [secondM, atS] of [
      [0.03, 0.6],
      [-0.03, 1.1],
    ] as const) {
      const { liftS, errorS } = lift(twoLows(secondM), [pickup(0.3)]);
      expect(Math.abs(liftS - atS)).toBeLessThan(0.05);
      expect(3 * errorS).toBeGreaterThan(0.5);
    }
  });

  it('is as open as the pickup: with another one after the lower low, lift and dip reach those it would have', () => {
    const [likely, rival] = [pickup(0.3, 0.8), pickup(0.9, 0.2)];
    const { liftS, errorS, dip } = lift(twoLows(0.2), [likely, rival]);
    expect(Math.abs(liftS - 0.6)).toBeLessThan(0.03);
    expect(3 * errorS).toBeGreaterThan(0.5);
    // 0.3 m from the first, 0.1 m from the other: their mean by likelihood, and an interval with both.
    expect(Math.abs(dip.dipM - 0.26)).toBeLessThan(0.04);
    expect(dip.errorM).toBeGreaterThan(0.07);
    expect(dip.interval90[0]).toBeLessThan(0.12);
    expect(dip.interval90[1]).toBeGreaterThan(0.29);
    expect(lift(twoLows(0.2), [likely]).errorS).toBeLessThan(0.1);
  });

  it('is never told before the pickup that is, though another pickup before the lower low is likely', () => {
    const { liftS, ways } = lift(twoLows(0.2), [pickup(0.9, 0.55), pickup(0.3, 0.45)]);
    expect(Math.abs(liftS - 1.1)).toBeLessThan(0.05);
    expect(ways.some(({ timeS }) => Math.abs(timeS - 0.6) < 0.05)).toBe(true);
  });

  it('begins with a ball that may have been held where it was', () => {
    const { ways } = lift(twoLows(0.2), [pickup(0.3, 0.7), pickup(1.1, 0.3, true)]);
    expect(ways.some(({ timeS, share }) => timeS === 1.1 && Math.abs(share - 0.3) < 0.01)).toBe(true);
  });
});
