// Longer than most: every kind of start is weighed against the others in one posterior.
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
  const about: About = { path, speed, speedMps, dropM: (i) => height(i) - (lowestFrom[i] as number), releaseS };
  const blows = blowsBy(params.impactWindowS);
  const held = heldStart(path, motion, end, params);
  const { likely, none } = lastOfBall(about, blows);
  const best = likely.reduce((most, p, k) => (p > (likely[most] ?? 0) ? k : most), 0);
  const chosen = blows[best];
  if (!chosen || none >= (likely[best] as number)) {
    // What is felt slowly may be a soft touch: not enough to be told as the pickup, but a rival.
    const soft = blowsBy(softTouchS);
    return withRivals(path, motion, held, soft, lastOfBall(about, soft).likely, params);
  }
  if (waitsLow(path, (i) => height(i) - top, chosen, end, params)) return held;
  const lift = lastLowest(height, chosen.start, end);
  if (path.timeOf(lift) - path.timeOf(chosen.start) >= params.holdS) return held;
  const stepS = chosen.start > 0 ? path.timeOf(chosen.start) - path.timeOf(chosen.start - 1) : 0.02;
  const ownS = Math.hypot(params.pickupSpreadS, 0.3 * stepS);
  // The first sample that feels the blow comes up to one step after it began; as long before a hand that reaches for the ball brakes.
  const began = ({ start }: Impact): number => path.timeOf(start);
  const ways: Way[] = blows.map((blow, k) => ({ timeS: began(blow), share: likely[k] as number, sdS: ownS }));
  if (held.pickupS !== null) ways.push({ timeS: held.pickupS, share: none, sdS: held.errorS });
  const dribbled = cameFromDribble(path, height, findImpacts(block, params), chosen, params);
  return {
    kind: dribbled ? 'dribble' : 'catch',
    pickupS: began(chosen),
    errorS: errorOf(ways, began(chosen)),
    reason: null,
  };
}

/** One way that the start may have been. */
interface Way {
  readonly timeS: number;
  readonly share: number;
  readonly sdS: number;
}

const normal90 = 1.6448536269514722;

/**
 * @returns standard error of an instant that may have been elsewhere: half of the interval about it that holds it with 90 %, over
 *   1.645. The mean square would be ruled by what is hardly likely.
 */
function errorOf(ways: readonly Way[], atS: number): number {
  const all = ways.reduce((sum, { share }) => sum + share, 0);
  const within = (halfS: number): number =>
    ways.reduce((sum, { timeS, share, sdS }) => {
      const off = timeS - atS;
      return sum + share * (normalShare((off + halfS) / sdS) - normalShare((off - halfS) / sdS));
    }, 0) / all;
  let [low, high] = [0, longestDoubtS];
  for (let round = 0; round < 24; round++) {
    const middle = (low + high) / 2;
    if (within(middle) < 0.9) low = middle;
    else high = middle;
  }
  return high / normal90;
}

const longestDoubtS = 4;

/** Share of a normal distribution below `z` (Abramowitz and Stegun 1964, 26.2.17, error below 1e-7). */
function normalShare(z: number): number {
  const t = 1 / (1 + 0.2316419 * Math.abs(z));
  const series = t * (0.31938153 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))));
  const tail = (Math.exp((-z * z) / 2) / Math.sqrt(2 * Math.PI)) * series;
  return z > 0 ? 1 - tail : tail;
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
  params: WristParams,
): WristStart {
  const { pickupS } = held;
  if (pickupS === null) return held;
  const movedMps = movedBefore(path, motion, pickupS);
  if (movedMps > fetched.surelyMps) return { kind: 'unknown', pickupS: null, errorS: 0, reason: 'no-previous-flight' };
  // A ball that came softly is not felt above the wrist, but the hand had to go and get it.
  const came = 1 / (1 + Math.exp((fetched.mps - movedMps) / fetched.spreadMps));
  const some = likely.reduce((sum, share) => sum + share, 0);
  const ways: Way[] = blows.map(({ start }, k) => ({
    timeS: path.timeOf(start),
    share: likely[k] as number,
    sdS: params.pickupSpreadS,
  }));
  ways.push({ timeS: pickupS, share: (1 - some) * (1 - came), sdS: held.errorS });
  ways.push({ timeS: pickupS - fetched.earlierS, share: (1 - some) * came, sdS: fetched.earlierS / 2 });
  return { ...held, errorS: errorOf(ways, pickupS) };
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
 * arm; by common sense a ball strikes harder, on a hand that neither rises nor turns, after which the hand often goes down but
 * not up at once, not long before release, and is not the echo of a harder blow before; a dribbled one comes in the rhythm of the dribble.
 */
const odds = {
  usual: -2.38,
  /** By the logarithm of the size over 15 m/s², and of the size over the hardest. */
  bySize: 2.51,
  byHardest: 0.49,
  usualMps2: 15,
  /** Harder ones are no more likely the ball's. */
  mostMps2: 80,
  /** For each m/s beyond these of a hand that rises. */
  rising: -1.25,
  risingFromMps: 0.3,
  falling: -0.4,
  fallingFromMps: 0.7,
  /** For each m/s of its speed. */
  bySpeed: 0.73,
  /** For each second beyond these of the time before release. */
  soon: -21.5,
  soonS: 0.6,
  early: -8,
  earlyS: 1.3,
  /** For each m that the hand is lower later on. */
  byDrop: 2.48,
  /** For each s that it lasts. */
  byLength: 14,
  /** For each rad/s of the turn rate where it begins. */
  byRate: -0.3,
  /** For each m/s of the quickest rise within this time after it began. */
  byRise: -0.54,
  riseS: 0.4,
  /** By the logarithm of the hardest within this time before over its own. */
  byBefore: -1.58,
  beforeS: 1,
  leastBefore: 0.3,
  /** A harder push in time for the ball to come back from the floor, and any two blows before in the rhythm of a dribble. */
  returned: 1.68,
  returnS: [0.45, 0.75],
  returnShare: 1.5,
  rhythm: 2.22,
  rhythmS: [0.35, 0.9],
} as const;

/** What blows are judged by. */
interface About {
  readonly path: Strapdown;
  /** Upward speed of the hand. */
  readonly speed: (i: number) => number;
  /** Speed of the hand. */
  readonly speedMps: (i: number) => number;
  /** How much lower the hand is later on, before release. */
  readonly dropM: (i: number) => number;
  readonly releaseS: number;
}

/** @returns for each blow how likely it is the last of the ball, and how likely none is the ball's. */
function lastOfBall(
  { path, speed, speedMps, dropM, releaseS }: About,
  blows: readonly Impact[],
): { readonly likely: readonly number[]; readonly none: number } {
  const sizeOf = ({ sizeMps2 }: Impact): number => Math.min(odds.mostMps2, sizeMps2);
  const hardest = blows.reduce((most, blow) => Math.max(most, sizeOf(blow)), 0);
  const likely: number[] = [];
  let none = 1;
  for (let k = blows.length - 1; k >= 0; k--) {
    const blow = blows[k] as Impact;
    const { start, peak, end } = blow;
    const size = sizeOf(blow);
    const startS = path.timeOf(start);
    const beforeS = releaseS - startS;
    let riseMps = speed(peak);
    for (let i = peak; i <= path.reference && path.timeOf(i) - startS < odds.riseS; i++) {
      riseMps = Math.max(riseMps, speed(i));
    }
    let before = 0;
    for (let j = k - 1; j >= 0 && startS - path.timeOf((blows[j] as Impact).start) < odds.beforeS; j--) {
      before = Math.max(before, sizeOf(blows[j] as Impact));
    }
    const log =
      odds.usual +
      odds.bySize * Math.log(size / odds.usualMps2) +
      odds.byHardest * Math.log(size / hardest) +
      odds.rising * Math.max(0, speed(start) - odds.risingFromMps) +
      odds.falling * Math.max(0, -speed(start) - odds.fallingFromMps) +
      odds.bySpeed * speedMps(start) +
      odds.soon * Math.max(0, odds.soonS - beforeS) +
      odds.early * Math.max(0, beforeS - odds.earlyS) +
      odds.byDrop * dropM(start) +
      odds.byLength * (path.timeOf(Math.min(end, path.block.length - 1)) - startS) +
      odds.byRate * norm(path.rateInSensor(start)) +
      odds.byRise * riseMps +
      odds.byBefore * Math.log(Math.max(odds.leastBefore, before / size)) +
      (isReturned(path, blows, k) ? odds.returned : 0) +
      (isInRhythm(path, blows, k) ? odds.rhythm : 0);
    const own = 1 / (1 + Math.exp(-log));
    likely[k] = own * none;
    none *= 1 - own;
  }
  return { likely, none };
}

/** @returns whether a blow comes when the ball of a harder one, a push to the floor, would be back. */
function isReturned(path: Strapdown, blows: readonly Impact[], k: number): boolean {
  const { sizeMps2 } = blows[k] as Impact;
  const size = odds.returnShare * Math.min(odds.mostMps2, sizeMps2);
  return apart(path, blows, k, odds.returnS).some((j) => Math.min(odds.mostMps2, (blows[j] as Impact).sizeMps2) > size);
}

/** @returns whether two blows before a blow are as far apart as those of a dribble. */
function isInRhythm(path: Strapdown, blows: readonly Impact[], k: number): boolean {
  return apart(path, blows, k, odds.rhythmS).some((j) => apart(path, blows, j, odds.rhythmS).length > 0);
}

/** @returns blows that came before blow `k` by a time between two, s. */
function apart(
  path: Strapdown,
  blows: readonly Impact[],
  k: number,
  [leastS, mostS]: readonly [number, number],
): number[] {
  const startS = path.timeOf((blows[k] as Impact).start);
  const found: number[] = [];
  for (let j = k - 1; j >= 0; j--) {
    const beforeS = startS - path.timeOf((blows[j] as Impact).start);
    if (beforeS > leastS && beforeS < mostS) found.push(j);
  }
  return found;
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

/** @returns blows without the ringing of skin and strap after them: each from its first beginning, as hard as its hardest. */
function withoutRinging(path: Strapdown, blows: readonly Impact[], { ringS }: WristParams): Impact[] {
  const parted: Impact[] = [];
  let lastS = Number.NEGATIVE_INFINITY;
  for (const blow of blows) {
    const before = parted[parted.length - 1];
    const rings =
      before !== undefined &&
      path.timeOf(blow.start) - lastS < ringS &&
      before.sizeMps2 >= ringShare * Math.min(odds.mostMps2, blow.sizeMps2);
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
