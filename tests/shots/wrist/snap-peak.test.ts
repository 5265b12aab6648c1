import { describe, expect, it } from 'vitest';
import { snapOf } from '../../../src/shots/wrist/doubtful-measures.ts';
import { findSnapPeak, type SnapPeak } from '../../../src/shots/wrist/snap-peak.ts';
import type { Strapdown } from '../../../src/shots/wrist/strapdown.ts';

/** Angular rates about z, sampled. */
function rates(rateHz: number, radps: (timeS: number) => number): Strapdown {
  const length = rateHz + 1;
  const timeOf = (i: number): number => i / rateHz;
  const block = { length, flags: new Uint8Array(length) };
  return { block, timeOf, rateInSensor: (i: number) => [0, 0, radps(timeOf(i))] } as unknown as Strapdown;
}

/** A throw of the forearm about 0.55 s, with a peak of 15 ms upon it that lies between two samples of 50 Hz. */
const thrown = (t: number): number =>
  12 * Math.exp(-(((t - 0.55) / 0.06) ** 2)) + 8 * Math.exp(-(((t - 0.51) / 0.0045) ** 2));

const peakOf = (rateHz: number, isOnHand: boolean): SnapPeak => {
  const peak = findSnapPeak(rates(rateHz, thrown), 0.52, 0, isOnHand);
  if (!peak) throw new Error('a peak was expected');
  return peak;
};

describe('the peak of the snap', () => {
  it('above the wrist reaches up to one that lies between two samples', () => {
    const truth = Math.max(...Array.from({ length: 4000 }, (_, i) => thrown(i / 4000)));
    const told = snapOf(peakOf(50, false));
    if (told.value === null || !told.interval90) throw new Error('a lopsided interval was expected');
    const degrees = 180 / Math.PI;
    expect(told.value).toBeLessThan(0.85 * truth * degrees);
    expect(told.interval90[1]).toBeGreaterThan(truth * degrees);
    expect(told.value - told.interval90[0]).toBeLessThan(0.5 * (told.interval90[1] - told.value));
    expect(Math.abs(told.value - truth * degrees)).toBeLessThan(3 * told.standardError);
  });

  it('is known to about 1 % at 200 Hz, and on the hand, which turns smoothly, at any rate', () => {
    for (const peak of [peakOf(200, false), peakOf(50, true)]) {
      expect(peak.missedRadps).toBeLessThan(0.011 * peak.rateRadps);
    }
  });
});
