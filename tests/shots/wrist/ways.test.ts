import { describe, expect, it } from 'vitest';
import { errorOf, gatherWays, quantileOf, type Way } from '../../../src/shots/wrist/ways.ts';

const way = (timeS: number, share: number, sdS = 0.02): Way => ({ timeS, share, sdS, held: false });

describe('an instant that may have been elsewhere', () => {
  it('has its own error where nothing else is likely', () => {
    expect(errorOf([way(1, 1)], 1)).toBeCloseTo(0.02, 5);
  });

  it('has an error that reaches a rival of one in five with 90 %, and is the root mean square for one that is less likely', () => {
    expect(1.645 * errorOf([way(1, 0.8), way(0.5, 0.2)], 1)).toBeGreaterThan(0.49);
    // 0.05 of 0.5² and 0.02².
    expect(errorOf([way(1, 0.95), way(0.5, 0.05)], 1)).toBeCloseTo(Math.sqrt(0.05 * 0.25 + 0.0004), 5);
  });

  it('has quantiles of all ways together', () => {
    const ways = [way(1, 0.8), way(0.5, 0.2)];
    // A quarter of the ways before is the middle of the rival, which has a fifth; its own half is at 0.1.
    expect(quantileOf(ways, 0.1)).toBeCloseTo(0.5, 4);
    expect(quantileOf(ways, 0.6)).toBeCloseTo(1, 4);
    expect(quantileOf([way(1, 1)], 0.95, 0.015)).toBeCloseTo(1 + 1.6448536 * 0.025, 4);
  });

  it('is told by the likeliest first, those close together as one and what is hardly likely left out', () => {
    const gathered = gatherWays([way(2, 0.3), way(1, 0.25), way(1.01, 0.25), way(0.2, 0.001), way(3, 0)]);
    expect(gathered.map(({ timeS }) => timeS)).toEqual([1.005, 2]);
    expect(gathered.reduce((sum, { share }) => sum + share, 0)).toBeCloseTo(1, 9);
    expect(gathered[0]?.sdS).toBeCloseTo(Math.hypot(0.02, 0.005), 9);
  });
});
