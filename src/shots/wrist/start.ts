// Longer than most: every kind of start is weighed against the others in one posterior.
import { standardGravityMps2 } from '../../foundation/constants.ts';
import type { NullReason } from '../../foundation/measured.ts';
import { norm, vecAt } from '../../signal/vec3.ts';
import type { StartKind } from '../shot.ts';
import { type HandBefore, hardestMps2, lastOfBall, lookBeforeLift, wasDribbled } from './ball-blows.ts';
import { findHeldStart, type HeldStart } from './held-start.ts';
import { findImpacts, type Impact } from './impacts.ts';
import type { Motion } from './path-motion.ts';
import type { Strapdown } from './strapdown.ts';
import { errorOf, gatherWays, type Way } from './ways.ts';
import type { WristParams } from './wrist-params.ts';

/** How a shot began. */
export interface WristStart {
  readonly kind: StartKind;
  readonly pickupS: number | null;
  readonly errorS: number;
  readonly reason: NullReason | null;
  /** All that the pickup may have been, the likeliest first; shares that sum to 1. Empty where none is told. */
  readonly ways: readonly Way[];
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
  const { block } = path;
  const height = (i: number): number => motion.heightM(i);
  let end = 0;
  while (end < block.length - 1 && path.timeOf(end + 1) <= releaseS) end++;
  const top = height(end);
  const speed = (i: number): number => motion.riseMps(i);
  const lowestFrom = lowestToEnd(height, end);
  const blowsBy = (windowS: number) =>
    withoutRinging(
      path,
      findImpacts(block, { ...params, impactWindowS: windowS }).filter(
        ({ start }) =>
          releaseS - path.timeOf(start) > leastPickupS &&
          releaseS - path.timeOf(start) < params.holdS + longestLiftS &&
          speed(start) < params.pickupRiseMps &&
          (height(start) < top - leastLiftM || (lowestFrom[start] as number) < top - leastDipM) &&
          !isSet(path, (i) => height(i) - top, start, end),
      ),
      params,
    );
  const speedMps = (i: number): number => norm(motion.velocityMps(i));
  const hand: HandBefore = { path, heightM: height, riseMps: speed, speedMps, releaseS };
  const lift = lookBeforeLift(hand);
  const blows = blowsBy(params.impactWindowS);
  const atRest = findHeldStart({ path, motion, shifted: (k) => path.motion(k) }, end, params);
  const held = heldStart(atRest);
  const { likely, none } = lastOfBall(hand, lift, blows);
  const best = likely.reduce((most, p, k) => (p > (likely[most] ?? 0) ? k : most), 0);
  const chosen = blows[best];
  if (!chosen || none >= (likely[best] as number)) {
    // What is felt slowly may be a soft touch: not enough to be told as the pickup, but a rival.
    const soft = blowsBy(softTouchS);
    return withRivals(path, atRest, soft, lastOfBall(hand, lift, soft).likely, heldShare(lift.slowS), params);
  }
  if (waitsLow(path, (i) => height(i) - top, chosen, end, params)) return held;
  const low = lastLowest(height, chosen.start, end);
  if (path.timeOf(low) - path.timeOf(chosen.start) >= params.holdS) return held;
  const stepS = chosen.start > 0 ? path.timeOf(chosen.start) - path.timeOf(chosen.start - 1) : 0.02;
  const ownS = Math.hypot(params.pickupSpreadS, 0.3 * stepS);
  // The first sample that feels the blow comes up to one step after it began; as long before a hand that reaches for the ball brakes.
  const began = ({ start }: Impact): number => path.timeOf(start);
  const ways: Way[] = blows.map((blow, k) => ({
    timeS: began(blow),
    share: likely[k] as number,
    sdS: ownS,
    held: false,
  }));
  ways.push(...atRest.ways.map((way) => ({ ...way, share: way.share * none })));
  const dribbled = wasDribbled(hand, blows, best);
  return told(dribbled ? 'dribble' : 'catch', began(chosen), ways);
}

/** @returns a start that is told as `pickupS` and may have been elsewhere. */
function told(kind: StartKind, pickupS: number, all: readonly Way[]): WristStart {
  const ways = gatherWays(all);
  return { kind, pickupS, errorS: errorOf(ways, pickupS), reason: null, ways };
}

/**
 * A ball that came softly is not felt above the wrist, but the hand had to go and get it: one that was slow for shorter than this before the lift
 * has more likely done so than held the ball. It then came so much earlier than the last rest.
 */
const fetched = { slowS: 0.72, perS: 4.3, earlierS: 0.4 } as const;

/** @returns how likely a hand that felt no ball has held it. */
function heldShare(slowS: number): number {
  return 1 / (1 + Math.exp(-fetched.perS * (slowS - fetched.slowS)));
}

/** @returns a held start whose error knows of the blows, and the soft touches, that may have been the pickup. */
function withRivals(
  path: Strapdown,
  atRest: HeldStart,
  blows: readonly Impact[],
  likely: readonly number[],
  heldLikely: number,
  params: WristParams,
): WristStart {
  if (heldLikely < 0.5) return { ...unknownStart, kind: 'unknown', reason: 'no-previous-flight' };
  const held = heldStart(atRest);
  if (held.pickupS === null) return held;
  const some = likely.reduce((sum, share) => sum + share, 0);
  const ways: Way[] = blows.map(({ start }, k) => ({
    timeS: path.timeOf(start),
    share: likely[k] as number,
    sdS: params.pickupSpreadS,
    held: false,
  }));
  for (const way of atRest.ways) {
    ways.push({ ...way, share: way.share * (1 - some) * heldLikely });
    const fetchedShare = way.share * (1 - some) * (1 - heldLikely);
    ways.push({ timeS: way.timeS - fetched.earlierS, share: fetchedShare, sdS: fetched.earlierS / 2, held: false });
  }
  return told('hold', held.pickupS, ways);
}

const unknownStart = { kind: 'hold', pickupS: null, errorS: 0, reason: 'no-low-rest', ways: [] } as const;

/** @returns the likeliest moment of rest as the start. */
function heldStart({ ways, none }: HeldStart): WristStart {
  const likeliest = ways[0];
  if (!likeliest || none > likeliest.share * (1 - none)) return unknownStart;
  return told('hold', likeliest.timeS, ways);
}

/** Soft hands take this long to feel the ball. */
const softTouchS = 0.05;

/** The lift takes no longer than this from the lowest ball to release. */
const longestLiftS = 1.2;
/** Nothing this close to release, in time or height, is a pickup, unless the hand goes down again. */
const leastPickupS = 0.3;
const leastLiftM = 0.2;
const leastDipM = 0.3;

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

/** @returns blows without the ringing of skin and strap after them: each from its first beginning, as hard as its hardest. */
function withoutRinging(path: Strapdown, blows: readonly Impact[], { ringS }: WristParams): Impact[] {
  const parted: Impact[] = [];
  let lastS = Number.NEGATIVE_INFINITY;
  for (const blow of blows) {
    const before = parted[parted.length - 1];
    const rings =
      before !== undefined &&
      path.timeOf(blow.start) - lastS < ringS &&
      before.sizeMps2 >= ringShare * Math.min(hardestMps2, blow.sizeMps2);
    lastS = path.timeOf(blow.start);
    if (rings) parted[parted.length - 1] = { ...before, sizeMps2: Math.max(before.sizeMps2, blow.sizeMps2) };
    else parted.push(blow);
  }
  return parted;
}

/** A blow this share as hard as what follows is its beginning. */
const ringShare = 0.6;

/** @returns for each sample up to `end` the least height from there to `end`. */
function lowestToEnd(height: (i: number) => number, end: number): Float64Array {
  const lowest = new Float64Array(end + 1);
  let least = Number.POSITIVE_INFINITY;
  for (let i = end; i >= 0; i--) {
    least = Math.min(least, height(i));
    lowest[i] = least;
  }
  return lowest;
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
