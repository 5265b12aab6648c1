import { binomialAtMost } from './binomial-distribution.ts';
import { type Insufficient, insufficient, isInsufficient, requireFinite } from './checks.ts';
import { lagOneCorrelation, mean, median, standardDeviation } from './descriptive.ts';
import type { Interval } from './proportion-interval.ts';
import { differenceOf, type MeanDifference, summarize, welchTest } from './two-means.ts';

/** Values of one practice, in the order of their time. */
export interface PracticeValues {
  readonly practice: string;
  readonly values: readonly number[];
}

export interface TwoCompared {
  /**
   * What counts as one piece of data: practices, where both sides have two at least, since what a player differs from day to day does not
   * shrink with more shots; shots, where both were shot in one and the same practice. The answer then holds for that practice alone.
   */
  readonly basis: 'practices' | 'shots';
  /** One less two, in the values' unit, with its 95 % interval; or why there is none. */
  readonly difference: MeanDifference | Insufficient;
  readonly answer: 'differ' | 'open' | 'too-few';
}

/** Fewer shots a side tell nothing of how they hang together. */
export const leastShots = 8;
/** Fewer practices a side tell nothing of how days differ. */
export const leastPractices = 2;
/** Of a short row the correlation of neighbours is known badly; it is never taken to be as strong as this. */
const mostCorrelation = 0.9;

/**
 * Whether two groups of shots can be told apart at all: the difference of their means is outside what chance makes of it in 95 of 100 such
 * looks. It is one look, planned by nobody: whoever looks at many measures, or again after every shot, will see differences that are none.
 *
 * With shots as the data the error is grown for neighbours that hang together, by the correlation of each shot with the one before
 * within its side, pooled over the sides (first-order autoregression; Box, Jenkins and Reinsel 2008), and the degrees of freedom are those of
 * the effective number of shots.
 */
export function compareTwo(one: readonly PracticeValues[], two: readonly PracticeValues[]): TwoCompared {
  const sides = [one, two].map((side) => side.filter(({ values }) => values.length > 0)) as [
    PracticeValues[],
    PracticeValues[],
  ];
  for (const { values } of sides.flat()) requireFinite('values', values);
  const [first, second] = sides;
  if (first.length >= leastPractices && second.length >= leastPractices) {
    const [levels, others] = sides.map((side) => summarize(side.map(({ values }) => mean(values))));
    return answered('practices', welchTest(levels!, others!));
  }
  const isOnePractice = first.length === 1 && second.length === 1 && first[0]!.practice === second[0]!.practice;
  if (!isOnePractice) {
    const why = `expected ${leastPractices} practices or more on each side, or one and the same for both, got ${first.length} and ${second.length}`;
    return answered('practices', insufficient(why));
  }
  const [ones, twos] = [first[0]!.values, second[0]!.values];
  if (ones.length < leastShots || twos.length < leastShots) {
    const why = `expected ${leastShots} shots or more on each side, got ${ones.length} and ${twos.length}`;
    return answered('shots', insufficient(why));
  }
  return answered('shots', shotsDifference(ones, twos));
}

function shotsDifference(one: readonly number[], two: readonly number[]): MeanDifference | Insufficient {
  const spreads = [one, two].map((values) => standardDeviation(values));
  if (spreads.every((spread) => spread === 0)) {
    return insufficient('all values of each side are the same, so the spread is not known');
  }
  // Of n values the correlation comes out low by about (1 + 4 r) / n (Kendall 1954, Biometrika 41:403).
  const correlations = [one, two].map((values, side) => {
    if (spreads[side] === 0) return 0;
    const r = lagOneCorrelation(values);
    return r + (1 + 4 * r) / values.length;
  });
  const pooled = (correlations[0]! * one.length + correlations[1]! * two.length) / (one.length + two.length);
  const correlation = Math.min(mostCorrelation, Math.max(0, pooled));
  const shrunk = (1 - correlation) / (1 + correlation);
  const counts = [one.length * shrunk, two.length * shrunk];
  const variances = spreads.map((spread, side) => spread ** 2 / counts[side]!);
  const sum = variances[0]! + variances[1]!;
  const df = sum ** 2 / variances.reduce((all, each, side) => all + each ** 2 / Math.max(1, counts[side]! - 1), 0);
  return differenceOf(mean(one) - mean(two), Math.sqrt(sum), Math.max(1, df), 0.95);
}

function answered(basis: TwoCompared['basis'], difference: MeanDifference | Insufficient): TwoCompared {
  if (isInsufficient(difference)) return Object.freeze({ basis, difference, answer: 'too-few' });
  const [low, high] = difference.interval;
  return Object.freeze({ basis, difference, answer: low > 0 || high < 0 ? 'differ' : 'open' });
}

/**
 * Median with an interval that holds with the given confidence or more whatever the distribution, between two of the sorted values
 * (Conover 1999, Practical Nonparametric Statistics, 3.2). Values that hang together make it too narrow.
 *
 * @returns the interval null where there are too few values for one.
 */
export function medianWithInterval(
  values: readonly number[],
  confidence = 0.9,
): { readonly median: number; readonly interval: Interval | null } {
  requireFinite('values', values);
  const sorted = values.toSorted((a, b) => a - b);
  const n = sorted.length;
  let below = -1;
  while (2 * binomialAtMost(below + 1, n, 0.5) <= 1 - confidence && below + 1 < n / 2) below++;
  return { median: median(values), interval: below < 0 ? null : [sorted[below]!, sorted[n - 1 - below]!] };
}
