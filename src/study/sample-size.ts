import { requireBetween, requireWhole, requireWithin } from './checks.ts';
import { normalCdf, normalQuantile } from './normal-distribution.ts';
import { noncentralTUpper, studentQuantile } from './student-t.ts';

/** How sure a planned comparison is to be. */
export interface ErrorRates {
  /** Two-sided chance of a false alarm. */
  readonly alpha: number;
  /** Chance to find the difference where it is there. */
  readonly power: number;
}

export const usualRates: ErrorRates = Object.freeze({ alpha: 0.05, power: 0.8 });

/**
 * Shots a condition that tell two make percentages apart (normal approximation; Fleiss, Levin and Paik 2003, Statistical
 * Methods for Rates and Proportions, equations 4.14 and 4.15).
 *
 * @returns number a condition, not rounded: without and with continuity correction.
 */
export function shotsForProportions(
  p1: number,
  p2: number,
  { alpha, power }: ErrorRates = usualRates,
): { readonly plain: number; readonly corrected: number } {
  checkRates(alpha, power);
  requireBetween('p1', p1, 0, 1);
  requireBetween('p2', p2, 0, 1);
  requireBetween('difference of p1 and p2', Math.abs(p1 - p2), 0, 1);
  const middle = (p1 + p2) / 2;
  const difference = Math.abs(p1 - p2);
  const root =
    normalQuantile(1 - alpha / 2) * Math.sqrt(2 * middle * (1 - middle)) +
    normalQuantile(power) * Math.sqrt(p1 * (1 - p1) + p2 * (1 - p2));
  const plain = (root / difference) ** 2;
  const corrected = (plain / 4) * (1 + Math.sqrt(1 + 4 / (plain * difference))) ** 2;
  return { plain, corrected };
}

/** @returns the chance that `count` shots a condition tell p1 from p2, without continuity correction (one side alone). */
export function powerForProportions(count: number, p1: number, p2: number, alpha = 0.05): number {
  requireWithin('count', count, 1, Number.MAX_SAFE_INTEGER);
  const middle = (p1 + p2) / 2;
  const z =
    (Math.abs(p1 - p2) * Math.sqrt(count) - normalQuantile(1 - alpha / 2) * Math.sqrt(2 * middle * (1 - middle))) /
    Math.sqrt(p1 * (1 - p1) + p2 * (1 - p2));
  return normalCdf(z);
}

/** @returns shots a condition that show two make percentages to be the same within ± margin where they are (both `p`). */
export function shotsForEquivalence(p: number, margin: number, { alpha, power }: ErrorRates = usualRates): number {
  checkRates(alpha, power);
  requireBetween('p', p, 0, 1);
  requireBetween('margin', margin, 0, 1);
  // Both one-sided tests have to succeed: each misses with half of what may be missed (Chow, Shao and Wang 2008; from memory).
  const z = normalQuantile(1 - alpha) + normalQuantile(1 - (1 - power) / 2);
  return (2 * p * (1 - p) * z * z) / (margin * margin);
}

/** @returns the chance that a two-sample t test with `count` a group finds a difference of `effect` standard deviations. */
export function powerForMeans(count: number, effect: number, alpha = 0.05): number {
  const df = 2 * (count - 1);
  return noncentralTUpper(studentQuantile(1 - alpha / 2, df), df, Math.abs(effect) * Math.sqrt(count / 2));
}

/**
 * Values a group that tell two means apart which differ by `effect` standard deviations (noncentral t).
 *
 * @returns number a group, not rounded, at least 2.
 */
export function valuesForMeans(effect: number, { alpha, power }: ErrorRates = usualRates): number {
  checkRates(alpha, power);
  requireBetween('size of the effect', Math.abs(effect), 0, Number.POSITIVE_INFINITY);
  let [low, high] = [2, 4];
  while (powerForMeans(high, effect, alpha) < power) high *= 2;
  if (powerForMeans(low, effect, alpha) >= power) return low;
  for (let i = 0; i < 60; i++) {
    const middle = (low + high) / 2;
    if (powerForMeans(middle, effect, alpha) < power) low = middle;
    else high = middle;
  }
  return high;
}

/**
 * By how much a number of independent shots grows when shots come in sets that are alike (Kish 1965, Survey Sampling; from memory):
 * 1 + (shots a set - 1) · correlation within a set.
 */
export function designEffect(shotsPerSet: number, correlationWithin: number): number {
  requireWithin('shotsPerSet', shotsPerSet, 1, Number.MAX_SAFE_INTEGER);
  requireWithin('correlationWithin', correlationWithin, 0, 1);
  return 1 + (shotsPerSet - 1) * correlationWithin;
}

/** @returns whole sets a condition for a number of independent shots, given how alike the shots of a set are. */
export function setsFor(independentShots: number, shotsPerSet: number, correlationWithin: number): number {
  requireWhole('shotsPerSet', shotsPerSet, 1);
  return Math.ceil((independentShots * designEffect(shotsPerSet, correlationWithin)) / shotsPerSet - 1e-9);
}

function checkRates(alpha: number, power: number): void {
  requireBetween('alpha', alpha, 0, 1);
  requireBetween('power', power, 0, 1);
}
