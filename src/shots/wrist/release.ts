import { standardGravityMps2 } from '../../foundation/constants.ts';
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
 * Release. The ball's reaction on the arm is lost in two steps that a sensor can see: first the wrist stops pushing along
 * its travel (its specific force there falls through zero: what is free falls with gravity), and a few hundredths of a
 * second later the fingertips, carried on by the flexing hand, let go. On the back of the hand the peak of the turn rate is a
 * second witness.
 *
 * @returns null when the push does not end within a quarter of a second.
 */
export function estimateRelease(
  path: Strapdown,
  motion: Motion,
  movement: Movement,
  mount: ArmMount | null,
  params: WristParams,
): Instant | null {
  const pushEnd = endOfPush(path, motion, movement);
  if (!pushEnd) return null;
  const byPush = {
    timeS: pushEnd.timeS + params.releaseLagS,
    variance: params.releaseLagSpreadS ** 2 + pushEnd.errorS ** 2,
  };
  // Above the wrist the hand's own part is unseen, and players differ in it.
  if (mount !== 'back-of-hand')
    return { timeS: byPush.timeS, errorS: Math.hypot(Math.sqrt(byPush.variance), params.unseenHandS) };
  const peak = peakTime(path, movement.snap);
  const byPeak = {
    timeS: peak.timeS - params.snapPeakLagS,
    variance: params.snapPeakLagSpreadS ** 2 + peak.errorS ** 2,
  };
  const weight = byPeak.variance / (byPush.variance + byPeak.variance);
  const apartS = byPush.timeS - byPeak.timeS;
  // Witnesses that contradict each other are believed less, and the one that hangs on the path alone more.
  if (Math.abs(apartS) > 4 * Math.sqrt(byPush.variance + byPeak.variance)) {
    return { timeS: byPush.timeS, errorS: Math.hypot(Math.sqrt(byPush.variance), 0.3 * apartS) };
  }
  return {
    timeS: byPeak.timeS + weight * apartS,
    errorS: Math.sqrt((byPush.variance * byPeak.variance) / (byPush.variance + byPeak.variance)),
  };
}

const longestPushS = 0.25;

function endOfPush(path: Strapdown, motion: Motion, { fastest }: Movement): Instant | null {
  const ahead: Vec3 = unit(motion.velocityMps(fastest));
  const weight = standardGravityMps2 * dot(motion.up, ahead);
  const push = (i: number): number => dot(motion.accelerationMps2(i), ahead) + weight;
  let start = fastest;
  while (start > 0 && push(start) <= 0 && path.timeOf(fastest) - path.timeOf(start) < longestPushS) start--;
  for (let i = start + 1; i < path.block.length && path.timeOf(i) - path.timeOf(start) < longestPushS; i++) {
    const [a, b] = [push(i - 1), push(i)];
    if (b > 0) continue;
    const stepS = path.timeOf(i) - path.timeOf(i - 1);
    return { timeS: path.timeOf(i - 1) + (a / (a - b)) * stepS, errorS: 0.2 * stepS };
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
