import type { MeasuredValue } from '../foundation/measured.ts';
import type { Shot, ShotMeasureName } from '../shots/shot.ts';

/**
 * What a number can be at all. `impossible` points to sensor or settings and counts for no rule; `unusual` counts, and is told.
 *
 * Least speed to the ring: Brancazio 1981, Am. J. Phys. 49:356. Published release speeds below it exist (speeds of 4.4 to
 * 6.9 m/s from 2.8 to 6.4 m): they are errors of measurement, not players. Entry angles of 35 to 50° cover measured
 * players; below 32° a large ball cannot pass the ring clean.
 */
export function plausibility(
  measure: ShotMeasureName,
  value: number,
  standardError: number,
): 'fine' | 'unusual' | 'impossible' {
  if (measure === 'speedMarginMps' && value < -Math.max(0.3, 3 * standardError)) return 'impossible';
  if (measure === 'entryAngleDeg') {
    if (!(value > 0 && value < 90)) return 'impossible';
    return value < 35 - 2 * standardError || value > 50 + 2 * standardError ? 'unusual' : 'fine';
  }
  if ((measure === 'pickupToReleaseS' || measure === 'liftToReleaseS') && !(value > 0)) return 'impossible';
  if (measure === 'liftToReleaseS' && value > longestLiftS + 2 * standardError) return 'impossible';
  if (measure === 'pickupToReleaseS' && (value < 0.4 || value > 1.5)) return 'unusual';
  return 'fine';
}

/** A lift takes half a second, with a long stop one; what takes longer began with something else. Common practice, no source. */
const longestLiftS = 2;

/** Flags of numbers that say nothing of a player's level: a model without reference shots, and a path whose larger side may be the other. */
const guessFlags: readonly string[] = ['uncalibrated', 'side-unsure'];

/** Whether a number is a guess: it is told, but counts for no rule and no target. */
export function isGuess({ flags }: MeasuredValue): boolean {
  return flags?.some((flag) => guessFlags.includes(flag)) === true;
}

/** @returns measures of a shot whose numbers cannot be or are unusual. */
export function implausibleMeasures(
  shot: Shot,
): readonly { readonly measure: ShotMeasureName; readonly what: 'unusual' | 'impossible' }[] {
  const found: { measure: ShotMeasureName; what: 'unusual' | 'impossible' }[] = [];
  for (const measure of Object.keys(shot.measures) as ShotMeasureName[]) {
    const given = shot.measures[measure];
    if (given.value === null) continue;
    const what = plausibility(measure, given.value, given.standardError);
    if (what !== 'fine') found.push({ measure, what });
  }
  return found;
}

/**
 * Least angle below level at which a ball passes the ring clean through its middle: asin(ball / ring), rad.
 *
 * @param ballM diameter of the ball; @param ringM inner diameter of the ring, larger.
 */
export function leastCleanEntryRad(ballM: number, ringM: number): number {
  return Math.asin(ballM / ringM);
}
