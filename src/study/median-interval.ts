import { binomialAtMost } from './binomial-distribution.ts';
import { type Insufficient, insufficient, requireBetween, requireFinite } from './checks.ts';
import { median } from './descriptive.ts';
import type { Interval } from './proportion-interval.ts';

export interface MedianInterval {
  readonly kind: 'median';
  readonly median: number;
  readonly interval: Interval;
  /** Chance at which the interval holds the median, at least the one asked for. */
  readonly coverage: number;
}

/**
 * Median with an interval between two order statistics, whatever the distribution (Thompson 1936, Ann. Math. Stat. 7:122), for
 * independent values: shots that hang together make it too short.
 *
 * @returns why there is none where the values are too few for the confidence: 5 for 0.9, 6 for 0.95.
 */
export function medianInterval(values: ArrayLike<number>, confidence = 0.9): MedianInterval | Insufficient {
  requireFinite('values', values);
  requireBetween('confidence', confidence, 0, 1);
  const n = values.length;
  const tail = (1 - confidence) / 2;
  if (n === 0 || binomialAtMost(0, n, 0.5) > tail) return insufficient(`${n} values are too few for the interval`);
  // The k-th from below and from above: as far in as the chance allows.
  let k = 1;
  while (binomialAtMost(k, n, 0.5) <= tail) k++;
  const sorted = Float64Array.from(values).sort();
  return Object.freeze({
    kind: 'median',
    median: median(sorted),
    interval: [sorted[k - 1]!, sorted[n - k]!] as const,
    coverage: 1 - 2 * binomialAtMost(k - 1, n, 0.5),
  });
}
