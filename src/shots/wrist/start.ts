import { standardGravityMps2 } from '../../foundation/constants.ts';
import type { NullReason } from '../../foundation/measured.ts';
import { dot, norm, vecAt } from '../../signal/vec3.ts';
import type { StartKind } from '../shot.ts';
import { findImpacts, type Impact } from './impacts.ts';
import type { Motion, Strapdown } from './strapdown.ts';
import type { WristParams } from './wrist-params.ts';

/** How a shot began. */
export interface WristStart {
  readonly kind: StartKind;
  readonly pickupS: number | null;
  readonly errorS: number;
  readonly reason: NullReason | null;
}

/**
 * Tells from the motion before the lift where the ball came from: blows in a rhythm are a dribble, a single one is a catch,
 * none for long, or a hand that waits low, is a ball that was held.
 */
export function findStart(path: Strapdown, motion: Motion, releaseS: number, params: WristParams): WristStart {
  const { up } = motion;
  const { block } = path;
  const height = (i: number): number => dot(motion.positionM(i), up);
  let end = 0;
  while (end < block.length - 1 && path.timeOf(end + 1) <= releaseS) end++;
  const top = height(end);
  const speed = (i: number): number => dot(motion.velocityMps(i), up);
  const impacts = findImpacts(block, params).filter(
    ({ start }) =>
      releaseS - path.timeOf(start) > leastPickupS &&
      speed(start) < params.pickupRiseMps &&
      height(start) < top - leastLiftM &&
      !isSet(path, (i) => height(i) - top, start, end),
  );
  const recent = impacts.filter(({ peak }) => releaseS - path.timeOf(peak) < params.holdS + longestLiftS);
  const pickup = firstOfRinging(path, impacts, recent, params);
  if (!pickup || waitsLow(path, (i) => height(i) - top, pickup, end, params))
    return heldStart(path, motion, end, params);
  const lift = lastLowest(height, pickup.start, end);
  if (path.timeOf(lift) - path.timeOf(pickup.start) >= params.holdS) return heldStart(path, motion, end, params);
  const rhythm = impacts.some((other) => {
    const apartS = path.timeOf(pickup.start) - path.timeOf(other.start);
    return apartS > 0.2 && apartS < params.dribbleS && other.sizeMps2 >= 0.5 * params.impactShare * pickup.sizeMps2;
  });
  const stepS = pickup.start > 0 ? path.timeOf(pickup.start) - path.timeOf(pickup.start - 1) : 0.02;
  return {
    kind: rhythm ? 'dribble' : 'catch',
    // The first sample that feels the blow comes up to one step after it began.
    pickupS: path.timeOf(pickup.start) - 0.5 * stepS,
    // Where other blows are nearly as likely, the doubt which one it was is most of the error.
    errorS: Math.hypot(
      params.pickupSpreadS,
      0.3 * stepS,
      rivalSpreadS(path, pickup, recent, heldStart(path, motion, end, params).pickupS),
    ),
    reason: null,
  };
}

/** The lift takes no longer than this from the lowest ball to release. */
const longestLiftS = 1.2;
/** Nothing this close to release, in time or height, is a pickup. */
const leastPickupS = 0.3;
const leastLiftM = 0.2;

const set = { belowM: 0.45, riseM: 0.3, backS: 1, dipM: 0.1 } as const;

/**
 * @returns whether a hand waits at its set point: it has come up and does not come down again before release. The ball is in
 *   it already; jerks there are the arm's own.
 */
function isSet(path: Strapdown, below: (i: number) => number, at: number, end: number): boolean {
  const here = below(at);
  if (here < -set.belowM) return false;
  for (let i = at; i <= end; i++) if (below(i) < here - set.dipM) return false;
  for (let i = at; i >= 0 && path.timeOf(at) - path.timeOf(i) < set.backS; i--) {
    if (below(i) < here - set.riseM) return true;
  }
  return false;
}

/** @returns the last blow as hard as a pickup, taken back to the beginning of its ringing. */
function firstOfRinging(
  path: Strapdown,
  impacts: readonly Impact[],
  recent: readonly Impact[],
  params: WristParams,
): Impact | undefined {
  const hardest = recent.reduce((most, { sizeMps2 }) => Math.max(most, sizeMps2), 0);
  const last = recent.findLast(({ sizeMps2 }) => sizeMps2 >= params.impactShare * hardest);
  if (!last) return undefined;
  let first = last;
  for (let k = impacts.indexOf(last) - 1; k >= 0; k--) {
    const before = impacts[k] as Impact;
    if (path.timeOf(first.start) - path.timeOf(before.peak) > params.ringS) break;
    if (before.sizeMps2 < 0.3 * last.sizeMps2) continue;
    first = before;
  }
  return first;
}

/** @returns spread of the pickup over the blows that may be it, weighed by their size, and the rest that may be it. */
function rivalSpreadS(path: Strapdown, pickup: Impact, recent: readonly Impact[], restS: number | null): number {
  let sum = 1;
  let square = 0;
  for (const { start, sizeMps2 } of recent) {
    if (start === pickup.start) continue;
    const weight = rivalWeight * Math.min(1, sizeMps2 / pickup.sizeMps2) ** 2;
    sum += weight;
    square += weight * (path.timeOf(start) - path.timeOf(pickup.start)) ** 2;
  }
  if (restS !== null) {
    sum += restWeight;
    square += restWeight * (restS - path.timeOf(pickup.start)) ** 2;
  }
  return Math.sqrt(square / sum);
}

/** How often another blow as hard, or a low rest, turned out to be the start, against the chosen blow. */
const rivalWeight = 0.5;
const restWeight = 0.1;

/** @returns the last sample between two at which the hand is within 2 cm of its lowest there. */
function lastLowest(height: (i: number) => number, from: number, to: number): number {
  let lowest = Number.POSITIVE_INFINITY;
  for (let i = from; i <= to; i++) lowest = Math.min(lowest, height(i));
  for (let i = to; i > from; i--) if (height(i) < lowest + 0.02) return i;
  return from;
}

/** @returns whether the hand was nearly still, low, between the last blow and the lift. */
function waitsLow(
  path: Strapdown,
  below: (i: number) => number,
  pickup: Impact,
  to: number,
  params: WristParams,
): boolean {
  const gyroStill = 1.5 * params.quietRateRadps;
  const forceStill = 1.5 * params.quietForceMps2;
  let from: number | null = null;
  for (let i = pickup.end; i <= to; i++) {
    const still =
      norm(path.rateInSensor(i)) < gyroStill &&
      Math.abs(norm(vecAt(path.block.accelMps2, i)) - standardGravityMps2) < forceStill &&
      below(i) < -0.8 * params.lowM;
    if (!still) from = null;
    else {
      from ??= i;
      if (path.timeOf(i) - path.timeOf(from) >= params.stillHoldS) return true;
    }
  }
  return false;
}

const restMps = 0.1;

/** The clock of a held ball starts at the last low moment without rise or fall. */
function heldStart(path: Strapdown, motion: Motion, end: number, params: WristParams): WristStart {
  const { up } = motion;
  const top = dot(motion.positionM(end), up);
  for (let i = end; i >= 0; i--) {
    if (dot(motion.positionM(i), up) - top > -params.lowM) continue;
    if (Math.abs(dot(motion.velocityMps(i), up)) >= restMps) continue;
    return { kind: 'hold', pickupS: path.timeOf(i), errorS: params.restSpreadS, reason: null };
  }
  return { kind: 'hold', pickupS: null, errorS: 0, reason: 'no-low-rest' };
}
