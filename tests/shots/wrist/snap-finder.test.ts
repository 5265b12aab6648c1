import { describe, expect, it } from 'vitest';
import { closeSnap, initialSnapState, type Snap, stepSnap } from '../../../src/shots/wrist/snap-finder.ts';

const stepS = 0.005;

function run(rates: readonly number[], least = 3): Snap[] {
  const state = initialSnapState();
  const snaps = rates.flatMap((rate, i) => stepSnap(state, i, i * stepS, rate, least) ?? []);
  const last = closeSnap(state);
  return last ? [...snaps, last] : snaps;
}

/** A half sine of angular rate, `length` samples long. */
function bump(peak: number, length: number): number[] {
  return Array.from({ length }, (_, i) => peak * Math.sin((Math.PI * i) / (length - 1)));
}

describe('the snap finder', () => {
  it('tells the largest sample of a bump', () => {
    expect(run([0, ...bump(8, 41), 0, 0])).toEqual([{ sample: 21, timeS: 21 * stepS, rateRadps: 8 }]);
  });

  it('passes over rates below the limit', () => {
    expect(run(bump(2.9, 41))).toEqual([]);
  });

  it('tells two bumps apart, and a shoulder on a flank is none', () => {
    const shoulder = bump(8, 41);
    shoulder[28] = (shoulder[27] as number) * 1.05;
    expect(run([...bump(8, 41), ...bump(6, 41)]).map(({ rateRadps }) => rateRadps)).toEqual([8, 6]);
    expect(run(shoulder)).toHaveLength(1);
  });

  it('tells an even turn at its first sample, a while later', () => {
    const state = initialSnapState();
    const told: number[] = [];
    for (let i = 0; i < 60; i++) if (stepSnap(state, i, i * stepS, 5, 3)) told.push(i);
    expect(told).toEqual([30]);
  });
});
