import { type Insufficient, insufficient, requireFinite, requireSameLength } from './checks.ts';
import { mean, standardDeviation } from './descriptive.ts';
import type { Interval } from './proportion-interval.ts';
import { studentQuantile } from './student-t.ts';

export interface AgreementResult {
  readonly kind: 'agreement';
  /** Mean difference, one less two, in the values' unit. */
  readonly bias: number;
  readonly biasInterval95: Interval;
  /** Standard deviation of the differences. */
  readonly spread: number;
  /** bias ± multiple · spread. */
  readonly limits: Interval;
  /** Standard error of either limit, about sqrt(3 / n) · spread. */
  readonly limitStandardError: number;
}

/**
 * Agreement of two ways of measuring (Bland and Altman 1986, Lancet 327:307; from memory).
 *
 * @param multiple of the standard deviation; the paper rounds 1.96 to 2.
 */
export function blandAltman(
  one: ArrayLike<number>,
  two: ArrayLike<number>,
  multiple = 1.959963984540054,
): AgreementResult | Insufficient {
  requireSameLength('pairs', one, two);
  const differences = Float64Array.from({ length: one.length }, (_, i) => one[i]! - two[i]!);
  requireFinite('differences', differences);
  const n = differences.length;
  if (n < 2) return insufficient('agreement needs two pairs');
  const bias = mean(differences);
  const spread = standardDeviation(differences);
  const half = (studentQuantile(0.975, n - 1) * spread) / Math.sqrt(n);
  return Object.freeze({
    kind: 'agreement',
    bias,
    biasInterval95: [bias - half, bias + half] as const,
    spread,
    limits: [bias - multiple * spread, bias + multiple * spread] as const,
    limitStandardError: spread * Math.sqrt(3 / n),
  });
}

/**
 * Repeatability of one way of measuring from two readings of each target: twice the standard deviation of the
 * differences about a mean of zero (Bland and Altman 1986; from memory).
 */
export function repeatability(first: ArrayLike<number>, second: ArrayLike<number>): number {
  requireSameLength('pairs', first, second);
  let squares = 0;
  for (let i = 0; i < first.length; i++) squares += (first[i]! - second[i]!) ** 2;
  return 2 * Math.sqrt(squares / first.length);
}
