import { expect, test } from 'vitest';
import { isInsufficient } from '../../src/study/checks.ts';
import { type MedianInterval, medianInterval } from '../../src/study/median-interval.ts';

const upTo = (n: number) => Array.from({ length: n }, (_, i) => i + 1);

// Source: order-statistic intervals of the median as tabled (Nair 1940, Sankhya 4:551; values from memory, recomputed by hand
// from the binomial of one half): n = 10 holds between the 2nd and 9th at 97.85 %, n = 15 between 4th and 12th at 96.48 %,
// n = 20 between 6th and 15th at 95.86 %.
test.each([
  [10, 2, 9, 0.9785],
  [15, 4, 12, 0.9648],
  [20, 6, 15, 0.9586],
])('of %i values the 95 %% interval reaches from the %i. to the %i.', (n, low, high, coverage) => {
  const told = medianInterval(upTo(n), 0.95) as MedianInterval;
  expect(told.interval).toEqual([low, high]);
  expect(Math.abs(told.coverage - coverage)).toBeLessThan(5e-5);
});

test('too few values give no interval, and say so', () => {
  expect(isInsufficient(medianInterval([1, 2, 3, 4], 0.9))).toBe(true);
  expect(isInsufficient(medianInterval([1, 2, 3, 4, 5], 0.9))).toBe(false);
  expect(isInsufficient(medianInterval(upTo(5), 0.95))).toBe(true);
  expect(isInsufficient(medianInterval([], 0.9))).toBe(true);
});
