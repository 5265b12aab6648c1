import { dot, norm, unit, type Vec3 } from '../../signal/vec3.ts';
import type { ArmMount } from '../shot.ts';
import type { Movement } from './movement.ts';
import type { Motion, Strapdown } from './strapdown.ts';
import type { WristParams } from './wrist-params.ts';

/** An instant with its standard error, s. */
export interface Instant {
  readonly timeS: number;
  readonly errorS: number;
}

/**
 * Release, from the loss of the ball's reaction.
 *
 * On the back of the hand the turn rate grows as long as the fingers push and is greatest when the ball is gone. Above the
 * wrist the hand is not seen; there the forearm is braked while the hand still pushes the ball, and the braking ends as the
 * ball's reaction is lost: the instant is taken where half of it is gone.
 *
 * @returns null when no braking after the push is seen.
 */
export function estimateRelease(
  path: Strapdown,
  motion: Motion,
  movement: Movement,
  mount: ArmMount | null,
  params: WristParams,
): Instant | null {
  if (mount === 'back-of-hand') {
    const peak = peakTime(path, movement.snap);
    return {
      timeS: peak.timeS - params.snapPeakLagS,
      errorS: Math.hypot(params.snapPeakLagSpreadS, peak.errorS),
    };
  }
  const end = endOfBraking(path, motion, movement);
  if (!end) return null;
  const unknownS = mount === null ? params.unknownMountLagS : 0;
  return {
    timeS: end.timeS - params.releaseLagS - unknownS,
    errorS: Math.hypot(params.releaseLagSpreadS, unknownS, end.errorS),
  };
}

const longestS = { braking: 0.16, recovery: 0.15 } as const;

/** @returns where the hardest braking along the travel after the push has fallen to half. */
function endOfBraking(path: Strapdown, motion: Motion, { fastest }: Movement): Instant | null {
  const ahead: Vec3 = unit(motion.velocityMps(fastest));
  const along = (i: number): number => dot(motion.accelerationMps2(i), ahead);
  const n = path.block.length;
  const since = (i: number, from: number): number => path.timeOf(i) - path.timeOf(from);
  let hardest = fastest;
  let least = along(fastest);
  for (let i = fastest; i < n && since(i, fastest) < longestS.braking; i++) {
    const now = along(i);
    if (now >= least) continue;
    least = now;
    hardest = i;
  }
  if (!(least < 0)) return null;
  for (let i = hardest + 1; i < n && since(i, hardest) < longestS.recovery; i++) {
    const [a, b] = [along(i - 1), along(i)];
    if (b < least / 2) continue;
    const stepS = path.timeOf(i) - path.timeOf(i - 1);
    return { timeS: path.timeOf(i - 1) + ((least / 2 - a) / (b - a)) * stepS, errorS: 0.3 * stepS };
  }
  return null;
}

function peakTime(path: Strapdown, snap: number): Instant {
  const rate = (i: number): number => norm(path.rateInSensor(i));
  if (snap < 1 || snap > path.block.length - 2) return { timeS: path.timeOf(snap), errorS: 0.02 };
  const [a, b, c] = [rate(snap - 1), rate(snap), rate(snap + 1)];
  const bend = a - 2 * b + c;
  const stepS = (path.timeOf(snap + 1) - path.timeOf(snap - 1)) / 2;
  return { timeS: path.timeOf(snap) + (bend < 0 ? (0.5 * (a - c)) / bend : 0) * stepS, errorS: 0.2 * stepS };
}
