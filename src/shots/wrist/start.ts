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
 * Tells from the motion before the lift where the ball came from: a blow of the ball on the hand is the pickup, the last such one;
 * where the hand went up and down before, it was a dribble, else a catch. A ball that was in the hands for long, or waited low, was
 * held.
 *
 * The hand also jerks by itself. So each blow has a probability of being the ball's, and the pickup is the last that is: the
 * product of its own and of the later ones being none. What is left when all are none is a ball that was held. Where several are
 * likely, the error says so.
 */
export function findStart(path: Strapdown, motion: Motion, releaseS: number, params: WristParams): WristStart {
  const { up } = motion;
  const { block } = path;
  const height = (i: number): number => dot(motion.positionM(i), up);
  let end = 0;
  while (end < block.length - 1 && path.timeOf(end + 1) <= releaseS) end++;
  const top = height(end);
  const speed = (i: number): number => dot(motion.velocityMps(i), up);
  const lowestAfter = (i: number): number => height(lastLowest(height, i, end));
  const blowsBy = (windowS: number) =>
    findImpacts(block, { ...params, impactWindowS: windowS }).filter(
      ({ start }) =>
        releaseS - path.timeOf(start) > leastPickupS &&
        releaseS - path.timeOf(start) < params.holdS + longestLiftS &&
        speed(start) < params.pickupRiseMps &&
        (height(start) < top - leastLiftM || lowestAfter(start) < top - leastDipM) &&
        !isSet(path, (i) => height(i) - top, start, end),
    );
  const blows = blowsBy(params.impactWindowS);
  const held = heldStart(path, motion, end, params);
  const { likely, none } = lastOfBall(path, speed, blows, releaseS);
  const best = likely.reduce((most, p, k) => (p > (likely[most] ?? 0) ? k : most), 0);
  const chosen = blows[best];
  if (!chosen || none >= (likely[best] as number)) {
    // What is felt slowly may be a soft touch: not enough to be told as the pickup, but a rival.
    const soft = blowsBy(softTouchS);
    return withRivals(path, motion, held, soft, lastOfBall(path, speed, soft, releaseS).likely);
  }
  const pickup = firstOfRinging(path, blows, best, params);
  if (waitsLow(path, (i) => height(i) - top, pickup, end, params)) return held;
  const lift = lastLowest(height, pickup.start, end);
  if (path.timeOf(lift) - path.timeOf(pickup.start) >= params.holdS) return held;
  const stepS = pickup.start > 0 ? path.timeOf(pickup.start) - path.timeOf(pickup.start - 1) : 0.02;
  const startS = path.timeOf(pickup.start);
  let square = held.pickupS === null ? 0 : none * (held.pickupS - startS) ** 2;
  let sum = held.pickupS === null ? 0 : none;
  blows.forEach(({ start }, k) => {
    const share = likely[k] as number;
    sum += share;
    // Those of the same ringing are the same blow.
    if (start < pickup.start || start > chosen.start) square += share * (path.timeOf(start) - startS) ** 2;
  });
  return {
    kind: cameFromDribble(path, height, findImpacts(block, params), pickup, params) ? 'dribble' : 'catch',
    // The first sample that feels the blow comes up to one step after it began.
    pickupS: startS - 0.5 * stepS,
    errorS: Math.hypot(params.pickupSpreadS, 0.3 * stepS, Math.sqrt(square / sum)),
    reason: null,
  };
}

/**
 * A hand that goes faster than this shortly before the rest may have gone for the ball, and has beyond the second speed; the ball then
 * came so much earlier. From two simulated arms.
 */
const fetched = { mps: 1.3, spreadMps: 0.25, surelyMps: 1.9, earlierS: 0.4, fromS: 1.2, toS: 0.1 } as const;

/** @returns a held start whose error knows of the blows, and the soft touches, that may have been the pickup. */
function withRivals(
  path: Strapdown,
  motion: Motion,
  held: WristStart,
  blows: readonly Impact[],
  likely: readonly number[],
): WristStart {
  const { pickupS } = held;
  if (pickupS === null) return held;
  const movedMps = movedBefore(path, motion, pickupS);
  if (movedMps > fetched.surelyMps) return { kind: 'unknown', pickupS: null, errorS: 0, reason: 'no-previous-flight' };
  // A ball that came softly is not felt above the wrist, but the hand had to go and get it.
  const came = 1 / (1 + Math.exp((fetched.mps - movedMps) / fetched.spreadMps));
  let square = held.errorS ** 2 + came * fetched.earlierS ** 2;
  blows.forEach(({ start }, k) => {
    square += (likely[k] as number) * (path.timeOf(start) - pickupS) ** 2;
  });
  return { ...held, errorS: Math.sqrt(square) };
}

/** Soft hands take this long to feel the ball. */
const softTouchS = 0.05;

/** The lift takes no longer than this from the lowest ball to release. */
const longestLiftS = 1.2;
/** Nothing this close to release, in time or height, is a pickup, unless the hand goes down again. */
const leastPickupS = 0.3;
const leastLiftM = 0.2;
const leastDipM = 0.3;

/**
 * How a blow of the ball differs from a jerk of the hand, as log odds. Logistic regression over some thousand blows of a simulated
 * arm, rounded; by common sense a ball strikes harder, hardest of all, on a hand that is about still, and not long before release.
 */
const odds = {
  usual: -0.6,
  /** By the logarithm of the size over 15 m/s², and of the size over the hardest. */
  bySize: 2.3,
  byHardest: 0.7,
  usualMps2: 15,
  /** Harder ones are no more likely the ball's. */
  mostMps2: 80,
  /** For each m/s beyond these of a hand that rises or falls. */
  rising: -1.6,
  risingFromMps: 0.3,
  falling: -0.45,
  fallingFromMps: 0.7,
  /** For each second beyond these of the time before release. */
  soon: -12,
  soonS: 0.6,
  early: -3.5,
  earlyS: 1.3,
} as const;

/** @returns for each blow how likely it is the last of the ball, and how likely none is the ball's. */
function lastOfBall(
  path: Strapdown,
  speed: (i: number) => number,
  blows: readonly Impact[],
  releaseS: number,
): { readonly likely: readonly number[]; readonly none: number } {
  const sizeOf = ({ sizeMps2 }: Impact): number => Math.min(odds.mostMps2, sizeMps2);
  const hardest = blows.reduce((most, blow) => Math.max(most, sizeOf(blow)), 0);
  const likely: number[] = [];
  let none = 1;
  for (let k = blows.length - 1; k >= 0; k--) {
    const blow = blows[k] as Impact;
    const mps = speed(blow.start);
    const beforeS = releaseS - path.timeOf(blow.start);
    const log =
      odds.usual +
      odds.bySize * Math.log(sizeOf(blow) / odds.usualMps2) +
      odds.byHardest * Math.log(sizeOf(blow) / hardest) +
      odds.rising * Math.max(0, mps - odds.risingFromMps) +
      odds.falling * Math.max(0, -mps - odds.fallingFromMps) +
      odds.soon * Math.max(0, odds.soonS - beforeS) +
      odds.early * Math.max(0, beforeS - odds.earlyS);
    const own = 1 / (1 + Math.exp(-log));
    likely[k] = own * none;
    none *= 1 - own;
  }
  return { likely, none };
}

const dribble = { toS: 0.2, travelM: 0.2, share: 0.2 } as const;

/** @returns whether the hand went up and down, struck, shortly before the ball came: one that waits for a pass is still. */
function cameFromDribble(
  path: Strapdown,
  height: (i: number) => number,
  blows: readonly Impact[],
  { start, sizeMps2 }: Impact,
  params: WristParams,
): boolean {
  const struck = blows.some((other) => {
    const beforeS = path.timeOf(start) - path.timeOf(other.start);
    const share = other.sizeMps2 / Math.min(odds.mostMps2, sizeMps2);
    return beforeS > dribble.toS && beforeS < params.dribbleS && share > dribble.share;
  });
  if (!struck) return false;
  let [low, high] = [Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY];
  for (let i = start; i >= 0; i--) {
    const beforeS = path.timeOf(start) - path.timeOf(i);
    if (beforeS > params.dribbleS) break;
    if (beforeS < dribble.toS) continue;
    low = Math.min(low, height(i));
    high = Math.max(high, height(i));
  }
  return high - low > dribble.travelM;
}

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

/** @returns a blow taken back to the beginning of its ringing. */
function firstOfRinging(path: Strapdown, blows: readonly Impact[], at: number, params: WristParams): Impact {
  const chosen = blows[at] as Impact;
  let first = chosen;
  for (let k = at - 1; k >= 0; k--) {
    const before = blows[k] as Impact;
    if (path.timeOf(first.start) - path.timeOf(before.peak) > params.ringS) break;
    if (before.sizeMps2 < 0.3 * Math.min(odds.mostMps2, chosen.sizeMps2)) continue;
    first = before;
  }
  return first;
}

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
/** By how much the height of a rest against that at release may be off, m: skin, strap, and a wrist that is not the ball. */
const restHeightM = 0.05;

/**
 * The clock of a held ball starts at the last low moment without rise or fall. Where a later moment is nearly low enough, or this
 * one hardly is, the error says so.
 */
function heldStart(path: Strapdown, motion: Motion, end: number, params: WristParams): WristStart {
  const { up } = motion;
  const top = dot(motion.positionM(end), up);
  const rests: { readonly timeS: number; readonly likely: number }[] = [];
  let none = 1;
  let rested = false;
  for (let i = end; i >= 0 && none > leastLikely; i--) {
    const rest = Math.abs(dot(motion.velocityMps(i), up)) < restMps;
    if (rest && !rested) {
      const below = top - dot(motion.positionM(i), up);
      const own = 1 / (1 + Math.exp((-1.7 * (below - params.lowM)) / restHeightM));
      rests.push({ timeS: path.timeOf(i), likely: own * none });
      none *= 1 - own;
    }
    rested = rest;
  }
  let best = { timeS: Number.NaN, likely: none };
  for (const rest of rests) if (rest.likely >= best.likely) best = rest;
  if (Number.isNaN(best.timeS)) return { kind: 'hold', pickupS: null, errorS: 0, reason: 'no-low-rest' };
  let [sum, square] = [0, 0];
  for (const { timeS, likely } of rests) {
    sum += likely;
    square += likely * (timeS - best.timeS) ** 2;
  }
  const errorS = Math.hypot(params.restSpreadS, Math.sqrt(square / sum));
  return { kind: 'hold', pickupS: best.timeS, errorS, reason: null };
}

/** Moments less likely than this are not looked for. */
const leastLikely = 0.001;

/** @returns greatest speed of the hand in the time before a rest in which a held ball is only carried about. */
function movedBefore(path: Strapdown, motion: Motion, restS: number): number {
  let most = 0;
  for (let i = 0; i < path.block.length && path.timeOf(i) < restS - fetched.toS; i++) {
    if (path.timeOf(i) > restS - fetched.fromS) most = Math.max(most, norm(motion.velocityMps(i)));
  }
  return most;
}
