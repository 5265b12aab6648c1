import { type Motion, unknownCount } from './path-motion.ts';
import type { Strapdown } from './strapdown.ts';

/** A pause as far as the speed is known. */
export interface DoubtfulPause {
  readonly pauseS: number;
  readonly errorS: number;
  readonly interval90: readonly [number, number];
}

/** Rises of the wrist on the path, and at each one-sigma shift of it. */
export interface PauseMotions {
  readonly path: Strapdown;
  readonly motion: Motion;
  readonly shifted: (k: number) => Motion;
}

/** What skin, strap and blows add to the speed of a carried path, m/s: 0.1 to 0.15 on the simulated arm beyond what the path knows. */
const unseenMps = 0.12;
/** Hands slower than this may pause, m/s. */
const slowMps = 0.8;
/** Steps of an error of the speed that are looked at, in standard deviations. */
const steps = { most: 2.6, each: 0.2 } as const;

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
export function doubtPause(
  { path, motion, shifted }: PauseMotions,
  from: number,
  to: number,
  limitMps: number,
): DoubtfulPause {
  const count = Math.max(0, to - from + 1);
  const riseMps = Float64Array.from({ length: count }, (_, k) => motion.riseMps(from + k));
  const slow = [...riseMps.keys()].filter((k) => Math.abs(riseMps[k] as number) < slowMps);
  let square = 0;
  for (let unknown = 0; unknown < unknownCount && slow.length > 0; unknown++) {
    const other = shifted(unknown);
    for (const k of slow) square += (other.riseMps(from + k) - (riseMps[k] as number)) ** 2 / slow.length;
  }
  const sdMps = Math.hypot(Math.sqrt(square), unseenMps);
  const timeS = (k: number): number => path.timeOf(from + k);
  const seen: { readonly pauseS: number; readonly weight: number }[] = [];
  let all = 0;
  for (let z = -steps.most; z < steps.most + steps.each / 2; z += steps.each) {
    const weight = Math.exp(-0.5 * z * z);
    seen.push({ pauseS: longestSlow(riseMps, timeS, z * sdMps, limitMps), weight });
    all += weight;
  }
  let pauseS = 0;
  for (const one of seen) pauseS += (one.weight / all) * one.pauseS;
  let variance = 0;
  for (const one of seen) variance += (one.weight / all) * (one.pauseS - pauseS) ** 2;
  seen.sort((a, b) => a.pauseS - b.pauseS);
  const quantile = (share: number): number => {
    let below = 0;
    for (const one of seen) {
      below += one.weight / all;
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
