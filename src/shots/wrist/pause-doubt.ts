import { type DoubtfulPath, doubtSteps, speedDoubtMps, unseenSpeedMps } from './path-doubt.ts';

/** A pause as far as the speed is known. */
export interface DoubtfulPause {
  readonly pauseS: number;
  readonly errorS: number;
  readonly interval90: readonly [number, number];
}

/**
 * The longest stretch of a rise slower than a limit, over all that the speed may be.
 *
 * A hand that stops on its way is at rest or sinks a little: an error of the speed as large as what is left to the limit breaks the stretch into
 * pieces, a smaller one does nothing. So the error is no sum of what each standard deviation does, and the number is the mean over
 * errors of the speed by how likely they are, the same ones all along the rise: what is not known of a path changes slowly.
 *
 * @param from first sample, the pickup.
 * @param to last sample, the release.
 */
export function doubtPause(wrist: DoubtfulPath, from: number, to: number, limitMps: number): DoubtfulPause {
  const { path, motion } = wrist;
  const count = Math.max(0, to - from + 1);
  const riseMps = Float64Array.from({ length: count }, (_, k) => motion.riseMps(from + k));
  const sdMps = speedDoubtMps(wrist, from, to, unseenSpeedMps);
  const timeS = (k: number): number => path.timeOf(from + k);
  const seen = doubtSteps.map(({ z, share }) => ({ pauseS: longestSlow(riseMps, timeS, z * sdMps, limitMps), share }));
  let pauseS = 0;
  for (const one of seen) pauseS += one.share * one.pauseS;
  let variance = 0;
  for (const one of seen) variance += one.share * (one.pauseS - pauseS) ** 2;
  seen.sort((a, b) => a.pauseS - b.pauseS);
  const quantile = (share: number): number => {
    let below = 0;
    for (const one of seen) {
      below += one.share;
      if (below >= share) return one.pauseS;
    }
    return seen[seen.length - 1]?.pauseS ?? 0;
  };
  return { pauseS, errorS: Math.sqrt(variance), interval90: [quantile(0.05), quantile(0.95)] };
}

/** @returns longest time in which the rise, less an error, stays within the limit, between samples by straight lines. */
function longestSlow(riseMps: Float64Array, timeS: (k: number) => number, errorMps: number, limitMps: number): number {
  const beyond = (k: number): number => Math.abs((riseMps[k] as number) - errorMps) - limitMps;
  const crossing = (k: number): number => {
    const [a, b] = [beyond(k), beyond(k + 1)];
    const share = a === b ? 0.5 : Math.min(1, Math.max(0, a / (a - b)));
    return timeS(k) + share * (timeS(k + 1) - timeS(k));
  };
  let longest = 0;
  let startS: number | null = null;
  for (let k = 0; k < riseMps.length; k++) {
    if (beyond(k) >= 0) {
      startS = null;
      continue;
    }
    startS ??= k === 0 ? timeS(0) : crossing(k - 1);
    const endS = k + 1 < riseMps.length && beyond(k + 1) >= 0 ? crossing(k) : timeS(k);
    longest = Math.max(longest, endS - startS);
  }
  return longest;
}
