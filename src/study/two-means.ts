import {
  type Insufficient,
  insufficient,
  requireBetween,
  requireFinite,
  requireSameLength,
  requireWhole,
} from './checks.ts';
import { mean, standardDeviation } from './descriptive.ts';
import type { Interval } from './proportion-interval.ts';
import { studentQuantile, studentTwoSided } from './student-t.ts';

/** Mean, standard deviation (n - 1) and number of the values of one group, in the values' unit. */
export interface GroupSummary {
  readonly mean: number;
  readonly standardDeviation: number;
  readonly count: number;
}

export interface MeanDifference {
  readonly kind: 'difference';
  /** One less two, in the values' unit. */
  readonly difference: number;
  readonly standardError: number;
  readonly t: number;
  readonly df: number;
  readonly pTwoSided: number;
  readonly interval: Interval;
}

export function summarize(values: ArrayLike<number>): GroupSummary {
  requireFinite('values', values);
  return { mean: mean(values), standardDeviation: standardDeviation(values), count: values.length };
}

/**
 * Difference of two means with unequal spreads (Welch 1947, Biometrika 34:28; from memory).
 *
 * @returns the difference, or why there is none: fewer than two values in a group, or no spread at all.
 */
export function welchTest(one: GroupSummary, two: GroupSummary, confidence = 0.95): MeanDifference | Insufficient {
  checkGroups(one, two, confidence);
  if (one.count < 2 || two.count < 2) return insufficient('a mean with its spread needs two values in each group');
  const v1 = one.standardDeviation ** 2 / one.count;
  const v2 = two.standardDeviation ** 2 / two.count;
  if (v1 + v2 === 0) return insufficient('all values of each group are the same, so the spread is not known');
  const df = (v1 + v2) ** 2 / (v1 ** 2 / (one.count - 1) + v2 ** 2 / (two.count - 1));
  return differenceOf(one.mean - two.mean, Math.sqrt(v1 + v2), df, confidence);
}

/** Difference of two means with one common spread (Student 1908; from memory). */
export function pooledTest(one: GroupSummary, two: GroupSummary, confidence = 0.95): MeanDifference | Insufficient {
  checkGroups(one, two, confidence);
  if (one.count < 2 || two.count < 2) return insufficient('a mean with its spread needs two values in each group');
  const df = one.count + two.count - 2;
  const squares = (one.count - 1) * one.standardDeviation ** 2 + (two.count - 1) * two.standardDeviation ** 2;
  if (squares === 0) return insufficient('all values of each group are the same, so the spread is not known');
  const standardError = Math.sqrt((squares / df) * (1 / one.count + 1 / two.count));
  return differenceOf(one.mean - two.mean, standardError, df, confidence);
}

/** Mean of the differences of pairs, one less two. */
export function pairedTest(
  one: ArrayLike<number>,
  two: ArrayLike<number>,
  confidence = 0.95,
): MeanDifference | Insufficient {
  requireSameLength('pairs', one, two);
  requireBetween('confidence', confidence, 0, 1);
  const differences = Float64Array.from({ length: one.length }, (_, i) => one[i]! - two[i]!);
  requireFinite('differences', differences);
  if (differences.length < 2) return insufficient('a mean difference with its spread needs two pairs');
  const spread = standardDeviation(differences);
  if (spread === 0) return insufficient('all differences are the same, so their spread is not known');
  const n = differences.length;
  return differenceOf(mean(differences), spread / Math.sqrt(n), n - 1, confidence);
}

/** @returns a difference with its t, p and interval from its standard error and degrees of freedom, frozen. */
export function differenceOf(
  difference: number,
  standardError: number,
  df: number,
  confidence: number,
): MeanDifference {
  const t = difference / standardError;
  const half = studentQuantile(0.5 + confidence / 2, df) * standardError;
  return Object.freeze({
    kind: 'difference',
    difference,
    standardError,
    t,
    df,
    pTwoSided: studentTwoSided(t, df),
    interval: [difference - half, difference + half] as const,
  });
}

function checkGroups(one: GroupSummary, two: GroupSummary, confidence: number): void {
  for (const group of [one, two]) {
    requireFinite('mean and spread', [group.mean, group.standardDeviation]);
    requireWhole('count', group.count);
  }
  requireBetween('confidence', confidence, 0, 1);
}
