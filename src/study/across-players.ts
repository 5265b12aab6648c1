import { type Insufficient, insufficient, requireBetween, requireFinite, requireSameLength } from './checks.ts';
import { chiSquaredUpper } from './gamma-function.ts';
import type { Interval } from './proportion-interval.ts';
import { studentQuantile, studentTwoSided } from './student-t.ts';

export interface AcrossPlayers {
  readonly kind: 'across-players';
  /** Mean effect over players, in the effects' unit. */
  readonly effect: number;
  readonly standardError: number;
  readonly interval: Interval;
  readonly pTwoSided: number;
  /** Standard deviation of the players' true effects. */
  readonly betweenSd: number;
  /** Where the effect of another player is to be expected. */
  readonly predictionInterval: Interval | null;
  /** Whether players differ by more than their errors: Cochran's Q and its chance. */
  readonly q: number;
  readonly qP: number;
}

/**
 * Effect over players with a random effect of each (DerSimonian and Laird 1986, Control. Clin. Trials 7:177, or restricted
 * maximum likelihood by Fisher scoring; Viechtbauer 2005, J. Educ. Behav. Stat. 30:261); error and interval after Hartung and
 * Knapp 2001 (Stat. Med. 20:3875), which hold for few players, never narrower than without them.
 *
 * @param effects one a player; @param standardErrors of each, above 0.
 */
export function acrossPlayers(
  effects: readonly number[],
  standardErrors: readonly number[],
  { method = 'reml', confidence = 0.95 }: { method?: 'reml' | 'dl'; confidence?: number } = {},
): AcrossPlayers | Insufficient {
  requireSameLength('effects and their errors', effects, standardErrors);
  requireFinite('effects', effects);
  for (const error of standardErrors) requireBetween('standardError', error, 0, Number.POSITIVE_INFINITY);
  requireBetween('confidence', confidence, 0, 1);
  const k = effects.length;
  if (k < 2) return insufficient('the effect over players needs two players');
  const variances = standardErrors.map((error) => error * error);
  const fixed = weighted(effects, variances, 0);
  let q = 0;
  for (let i = 0; i < k; i++) q += (effects[i]! - fixed.mean) ** 2 / variances[i]!;
  const dl = Math.max(0, (q - (k - 1)) / (fixed.sum - fixed.sumOfSquares / fixed.sum));
  const between = method === 'dl' ? dl : restrictedLikelihood(effects, variances, dl);
  const { mean, sum } = weighted(effects, variances, between);
  let spread = 0;
  for (let i = 0; i < k; i++) spread += (effects[i]! - mean) ** 2 / (variances[i]! + between);
  const inflation = Math.max(1, spread / (k - 1));
  const standardError = Math.sqrt(inflation / sum);
  const t = studentQuantile(0.5 + confidence / 2, k - 1);
  const predictive =
    k > 2 ? studentQuantile(0.5 + confidence / 2, k - 2) * Math.sqrt(between + standardError ** 2) : null;
  return Object.freeze({
    kind: 'across-players',
    effect: mean,
    standardError,
    interval: [mean - t * standardError, mean + t * standardError] as const,
    pTwoSided: studentTwoSided(mean / standardError, k - 1),
    betweenSd: Math.sqrt(between),
    predictionInterval: predictive === null ? null : ([mean - predictive, mean + predictive] as const),
    q,
    qP: chiSquaredUpper(q, k - 1),
  });
}

function weighted(effects: readonly number[], variances: readonly number[], between: number) {
  let [sum, sumOfSquares, mean] = [0, 0, 0];
  for (let i = 0; i < effects.length; i++) {
    const weight = 1 / (variances[i]! + between);
    sum += weight;
    sumOfSquares += weight * weight;
    mean += weight * effects[i]!;
  }
  return { sum, sumOfSquares, mean: mean / sum };
}

function restrictedLikelihood(effects: readonly number[], variances: readonly number[], start: number): number {
  let between = start;
  for (let step = 0; step < 200; step++) {
    const { sum, sumOfSquares, mean } = weighted(effects, variances, between);
    let score = 0;
    let cubes = 0;
    for (let i = 0; i < effects.length; i++) {
      const weight = 1 / (variances[i]! + between);
      score += weight * weight * (effects[i]! - mean) ** 2;
      cubes += weight ** 3;
    }
    const tracePp = sumOfSquares - (2 * cubes) / sum + (sumOfSquares / sum) ** 2;
    const change = (score - sum + sumOfSquares / sum) / tracePp;
    const next = Math.max(0, between + change);
    if (Math.abs(next - between) <= 1e-12 * (1 + between)) return next;
    between = next;
  }
  return between;
}
