import { type Motion, unknownCount } from './path-motion.ts';
import type { Strapdown } from './strapdown.ts';

/** The motion of the wrist, and at each one-sigma shift of the path. */
export interface DoubtfulPath {
  readonly path: Strapdown;
  readonly motion: Motion;
  readonly shifted: (k: number) => Motion;
}

/** What skin, strap and blows add to the speed of a carried path, m/s: 0.1 to 0.15 on the simulated arm beyond what the path knows. */
export const unseenSpeedMps = 0.12;
/** What of it lasts, so that it adds up in the way between two moments, m/s: skin swings to and fro. */
export const unseenDriftMps = 0.08;
/** Where the hand is slower than this an error of its speed matters, m/s. */
const slowMps = 0.8;

/** It changes slowly, so this many places tell it. */
const looks = 24;

/**
 * How far off the upward speed may be, as far as it is the same all along: what is not known of a path changes slowly.
 *
 * @param from first sample; @param to last one.
 * @param unseenMps what is not known of it by the path itself.
 * @returns standard deviation, m/s.
 */
export function speedDoubtMps({ motion, shifted }: DoubtfulPath, from: number, to: number, unseenMps: number): number {
  const all: number[] = [];
  for (let i = from; i <= to; i++) if (Math.abs(motion.riseMps(i)) < slowMps) all.push(i);
  const stride = Math.ceil(all.length / looks);
  const slow = all.filter((_, k) => k % stride === 0);
  let square = 0;
  for (let unknown = 0; unknown < unknownCount && slow.length > 0; unknown++) {
    const other = shifted(unknown);
    for (const i of slow) square += (other.riseMps(i) - motion.riseMps(i)) ** 2 / slow.length;
  }
  return Math.hypot(Math.sqrt(square), unseenMps);
}

/** An error that a number may have, in standard deviations, and how likely it is; they sum to 1. */
interface DoubtStep {
  readonly z: number;
  readonly share: number;
}

const wild = { share: 0.05, times: 3 } as const;

/** Steps over a normal distribution, fine enough that a number read at each of them gives its mean, spread and quantiles. */
export const doubtSteps: readonly DoubtStep[] = stepsOver(2.6, 0.2, (z) => Math.exp(-0.5 * z * z));

/**
 * The same with a tail: one path in twenty is off by three times as much, where a hard blow lies between samples or beyond the sensor's range. On the
 * simulated arm heights half a second apart were off by 0.2 m now and then.
 */
export const wildSteps: readonly DoubtStep[] = stepsOver(
  6,
  0.3,
  (z) => (1 - wild.share) * Math.exp(-0.5 * z * z) + (wild.share / wild.times) * Math.exp(-0.5 * (z / wild.times) ** 2),
);

function stepsOver(most: number, stepZ: number, density: (z: number) => number): DoubtStep[] {
  const reach = Math.round(most / stepZ);
  const steps = Array.from({ length: 2 * reach + 1 }, (_, k) => ({
    z: (k - reach) * stepZ,
    share: density((k - reach) * stepZ),
  }));
  const all = steps.reduce((sum, { share }) => sum + share, 0);
  return steps.map(({ z, share }) => ({ z, share: share / all }));
}
