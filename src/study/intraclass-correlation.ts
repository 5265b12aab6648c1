import { type Insufficient, insufficient, requireBetween, requireFinite, requireSameLength } from './checks.ts';
import { fQuantile } from './f-distribution.ts';
import type { Interval } from './proportion-interval.ts';

/** The six forms of Shrout and Fleiss: model (1 one-way, 2 random raters, 3 fixed raters), and one rating or the mean of k. */
export const correlationForms = ['1,1', '2,1', '3,1', '1,k', '2,k', '3,k'] as const;
export type CorrelationForm = (typeof correlationForms)[number];

export interface IntraclassResult {
  readonly kind: 'intraclass';
  /** Mean squares between targets, within targets, between raters, and what is left. */
  readonly meanSquares: {
    readonly between: number;
    readonly within: number;
    readonly raters: number;
    readonly error: number;
  };
  readonly forms: Readonly<Record<CorrelationForm, { readonly value: number; readonly interval: Interval }>>;
  /** Standard error of measurement of one rating, sqrt of the error mean square, in the ratings' unit. */
  readonly standardErrorOfMeasurement: number;
  /** Least change of one rating that measurement alone exceeds in 5 of 100 pairs. */
  readonly minimalDetectableChange95: number;
}

/**
 * Intraclass correlations with their intervals (Shrout and Fleiss 1979, Psychol. Bull. 86:420; intervals there and for
 * form 2 by Satterthwaite's degrees of freedom).
 *
 * Interval ends of the mean of k are -Infinity where the ratings disagree so much that they have no lower end.
 *
 * @param ratings a row a target (player, day), a column a rater (session, trial); complete.
 */
export function intraclassCorrelations(
  ratings: readonly (readonly number[])[],
  confidence = 0.95,
): IntraclassResult | Insufficient {
  requireBetween('confidence', confidence, 0, 1);
  const n = ratings.length;
  const k = ratings[0]?.length ?? 0;
  for (const row of ratings) {
    requireSameLength('ratings of a target', row, ratings[0]!);
    requireFinite('ratings', row);
  }
  if (n < 2 || k < 2) return insufficient('two targets and two ratings of each are needed');
  const grand = ratings.flat().reduce((sum, value) => sum + value, 0) / (n * k);
  const rowMeans = ratings.map((row) => row.reduce((sum, value) => sum + value, 0) / k);
  const columnMeans = ratings[0]!.map((_, j) => ratings.reduce((sum, row) => sum + row[j]!, 0) / n);
  let [betweenSum, withinSum, raterSum, errorSum] = [0, 0, 0, 0];
  for (const [i, row] of ratings.entries()) {
    betweenSum += k * (rowMeans[i]! - grand) ** 2;
    for (const [j, value] of row.entries()) {
      withinSum += (value - rowMeans[i]!) ** 2;
      errorSum += (value - rowMeans[i]! - columnMeans[j]! + grand) ** 2;
    }
  }
  for (const columnMean of columnMeans) raterSum += n * (columnMean - grand) ** 2;
  const between = betweenSum / (n - 1);
  const within = withinSum / (n * (k - 1));
  const raters = raterSum / (k - 1);
  const error = errorSum / ((n - 1) * (k - 1));
  if (!(within > 0) || !(error > 0)) return insufficient('repeated ratings do not differ, so their error is not known');

  if (!(between > 1e-12 * within))
    return insufficient('the targets do not differ at all, so there is nothing to tell apart');

  const upper = 0.5 + confidence / 2;
  const one = (between - within) / (between + (k - 1) * within);
  const two = (between - error) / (between + (k - 1) * error + (k * (raters - error)) / n);
  const three = (between - error) / (between + (k - 1) * error);

  const f1 = between / within;
  const low1 = f1 / fQuantile(upper, n - 1, n * (k - 1));
  const high1 = f1 * fQuantile(upper, n * (k - 1), n - 1);
  const f3 = between / error;
  const low3 = f3 / fQuantile(upper, n - 1, (n - 1) * (k - 1));
  const high3 = f3 * fQuantile(upper, (n - 1) * (k - 1), n - 1);
  const single = (f: number) => (f - 1) / (f + k - 1);

  const fj = raters / error;
  const top = (n - 1) * (k - 1) * (k * two * fj + n * (1 + (k - 1) * two) - k * two) ** 2;
  const bottom = (n - 1) * k ** 2 * two ** 2 * fj ** 2 + (n * (1 + (k - 1) * two) - k * two) ** 2;
  const df = top / bottom;
  const fLow = fQuantile(upper, n - 1, df);
  const fHigh = fQuantile(upper, df, n - 1);
  const mixed = k * raters + (k * n - k - n) * error;
  // Far below zero, where no true value can be, the approximation may leave out the value itself.
  const low2 = Math.min(two, (n * (between - fLow * error)) / (fLow * mixed + n * between));
  const high2 = Math.max(two, (n * (fHigh * between - error)) / (mixed + n * fHigh * between));
  // At -1/(k - 1) the mean of k has no reliability that could be told: the interval is open there.
  const stepUp = (value: number) =>
    1 + (k - 1) * value < 1e-9 ? Number.NEGATIVE_INFINITY : (k * value) / (1 + (k - 1) * value);
  const sem = Math.sqrt(error);
  return Object.freeze({
    kind: 'intraclass',
    meanSquares: { between, within, raters, error },
    forms: {
      '1,1': { value: one, interval: [single(low1), single(high1)] as const },
      '2,1': { value: two, interval: [low2, high2] as const },
      '3,1': { value: three, interval: [single(low3), single(high3)] as const },
      '1,k': { value: (between - within) / between, interval: [1 - 1 / low1, 1 - 1 / high1] as const },
      '2,k': { value: stepUp(two), interval: [stepUp(low2), stepUp(high2)] as const },
      '3,k': { value: (between - error) / between, interval: [1 - 1 / low3, 1 - 1 / high3] as const },
    },
    standardErrorOfMeasurement: sem,
    minimalDetectableChange95: minimalDetectableChange(sem),
  });
}

/** Standard error of measurement from the spread between people and a reliability (Weir 2005, J. Strength Cond. Res. 19:231; from memory). */
export function standardErrorOfMeasurement(standardDeviation: number, reliability: number): number {
  return standardDeviation * Math.sqrt(1 - reliability);
}

/** Least change between two measurements that error alone exceeds in 5 of 100 pairs (Weir 2005, with 1.96 as there; from memory). */
export function minimalDetectableChange(standardError: number): number {
  return 1.96 * Math.SQRT2 * standardError;
}
