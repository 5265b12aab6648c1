import { type ImuBlock, sampleFlag } from '../../foundation/imu-block.ts';
import { dot, norm, type Vec3, vecAt } from '../../signal/vec3.ts';
import type { ContactKind } from '../shot.ts';
import type { ShotAxes } from './before-release.ts';
import type { Surroundings } from './flight-study.ts';
import type { TouchReading } from './touch-reading.ts';

/** The first touch after a flight, per unit mass of the ball. */
export interface Impact {
  /** Sum of the force over the touch, m/s, in the shot's axes (forward, left, up). */
  readonly impulseMps: Vec3;
  /** Size of that sum. */
  readonly hardnessMps: number;
  readonly peakMps2: number;
  /** From touch to the peak of the force, s. */
  readonly riseS: number;
  readonly durationS: number;
  readonly clipped: boolean;
  /** Whether the force came too suddenly for a hand. */
  readonly hard: boolean;
  /** Whether the ball was free again soon after. */
  readonly freeAgain: boolean;
  /**
   * Whether something went on bearing the ball's weight for as long as was looked at, all of which was seen: hands do, after a
   * slap as hard as iron's too; ring, board and net give the ball back.
   */
  readonly borne: boolean;
  /** Whether it went on being pushed about for longer than hands do, as within a net. */
  readonly tossed: boolean;
  /** Whether the ball went on falling through whatever touched it, as through a net. */
  readonly fallsOn: boolean;
  /** What the free motion after the touch tells of it; null where there was none for long enough. */
  readonly rebound: ImpactRebound | null;
  /** It began between samples that are missing, and changed the spin as no net does. */
  readonly swung: boolean;
  /** What the ball did says that most of it lay between the samples. */
  readonly hidden: boolean;
  /** What the change of spin and velocity tells of what was met, if it was iron, glass or wood; null where nothing was seen of it. */
  readonly reading: TouchReading | null;
}

/** The touch as seen from the ball's motion before and after, in the shot's axes. */
export interface ImpactRebound {
  readonly impulseMps: Vec3;
  /** One sigma an axis. */
  readonly standardDeviationMps: number;
  /** Unit vector from the touched point to the ball's centre, and its error, rad; null where friction hides it. */
  readonly push: Vec3 | null;
  readonly pushErrorRad: number;
}

/** A touch is followed at most this long, s. */
const longestS = 0.1;
/** The touch is over below this, m/s², or below this share of its peak: a changed spin shows through an uncertain offset. */
const over = { forceMps2: 1.5, ofPeak: 0.04 } as const;

/** What is known of a touch beside the force. */
export interface TouchKnowledge {
  readonly rebound: ImpactRebound | null;
  readonly reading: TouchReading | null;
  /** Size of the change of spin where the beginning of the touch was not seen, as a share of the spin before; 0 where it was. */
  readonly unseenTurn: number;
  /** The least impulse that changes the spin as it was changed, m/s. */
  readonly leastMps: number;
  /** So much force may an uncertain offset of the sensor feign at a sample of the surroundings, m/s². */
  readonly feignedMps2: (i: number) => number;
}

const nothingKnown: TouchKnowledge = {
  rebound: null,
  reading: null,
  unseenTurn: 0,
  leastMps: 0,
  feignedMps2: () => 0,
};
/** A net brakes a spin by less than this share within a few hundredths of a second. */
const netTurn = 0.5;

/** Measures the touch that begins at `contactIndex` of the surroundings. */
export function measureImpact(
  block: ImuBlock,
  around: Surroundings,
  contactIndex: number,
  axes: ShotAxes,
  { rebound, reading, unseenTurn, leastMps, feignedMps2 }: TouchKnowledge = nothingKnown,
): Impact {
  const t0 = around.timeS[contactIndex] as number;
  const sum: [number, number, number] = [0, 0, 0];
  let peak = 0;
  let peakS = t0;
  let clipped = false;
  let end = contactIndex;
  for (let i = contactIndex; i < around.timeS.length; i++) {
    const t = around.timeS[i] as number;
    const size = around.sizeMps2[i] as number;
    if (t - t0 > longestS) break;
    const isOver = size < Math.max(over.forceMps2, over.ofPeak * peak) + feignedMps2(i) && i > contactIndex;
    if (!isOver) end = i;
    const h = i > 0 ? t - (around.timeS[i - 1] as number) : 0;
    const previous = i > contactIndex ? vecAt(around.forceMps2, i - 1) : ([0, 0, 0] as Vec3);
    const force = vecAt(around.forceMps2, i);
    for (let axis = 0; axis < 3; axis++) {
      sum[axis] = (sum[axis] as number) + (h / 2) * ((previous[axis] as number) + (force[axis] as number));
    }
    if (((block.flags[around.first + i] as number) & sampleFlag.accelClipped) !== 0) clipped = true;
    if (size > peak) {
      peak = size;
      peakS = t;
    }
    if (isOver) break;
  }
  const hard = isHard(block, around, contactIndex);
  const tossed = isTossed(around, contactIndex, feignedMps2);
  const impulse: Vec3 = [dot(sum, axes.forward), dot(sum, axes.left), dot(sum, axes.up)];
  return {
    impulseMps: impulse,
    hardnessMps: norm(impulse),
    peakMps2: peak,
    riseS: peakS - t0,
    durationS: (around.timeS[end] as number) - t0,
    clipped,
    hard,
    freeAgain: freeAfter(around, contactIndex, () => 0) || (hard && lightAfterBlow(around, contactIndex)),
    borne:
      isBorne(block, around, contactIndex, feignedMps2) && !tossed && !(hard && lightAfterBlow(around, contactIndex)),
    tossed,
    fallsOn: fallsOn(block, around, contactIndex, axes.up),
    rebound,
    swung: unseenTurn > netTurn,
    hidden: !clipped && isHidden(norm(impulse), rebound, leastMps),
    reading,
  };
}

/** No hand stops a ball this hard within this time; ring, board and floor do. */
const hardTouch = { withinS: 0.008, forceMps2: 90 } as const;
/** Where samples are farther apart than that, the second one still tells it by a larger force, m/s². */
const hardNext = { withinS: 0.011, forceMps2: 130 } as const;

function isHard(block: ImuBlock, around: Surroundings, contactIndex: number): boolean {
  const t0 = around.timeS[contactIndex] as number;
  for (let i = contactIndex; i < around.timeS.length; i++) {
    const sinceS = (around.timeS[i] as number) - t0;
    const sizeMps2 = around.sizeMps2[i] as number;
    if (sinceS > hardTouch.withinS) {
      return i === contactIndex + 1 && sinceS < hardNext.withinS && sizeMps2 > hardNext.forceMps2;
    }
    if (((block.flags[around.first + i] as number) & sampleFlag.accelClipped) !== 0) return true;
    if (sizeMps2 > hardTouch.forceMps2) return true;
  }
  return false;
}

/**
 * A hand that holds a ball bears its weight all the time; anything else lets it fall again, within this time, s. The less is felt of it,
 * m/s², the shorter a letting go, s, is told from jostling in hands: what the air does otherwise after a touch is no more than the least.
 */
const free = {
  withinS: 0.3,
  signs: [
    { forceMps2: 4.5, leastS: 0.03 },
    { forceMps2: 2.2, leastS: 0.018 },
    { forceMps2: 0.9, leastS: 0.008 },
  ],
} as const;
/** s; the touch itself may clip, and so much of what follows has to be seen, where samples follow each other without a gap. */
const bearing = { touchS: 0.08, seenS: 0.26, gapS: 0.03 } as const;

function isBorne(
  block: ImuBlock,
  around: Surroundings,
  contactIndex: number,
  feignedMps2: (i: number) => number,
): boolean {
  if (freeAfter(around, contactIndex, feignedMps2)) return false;
  const t0 = around.timeS[contactIndex] as number;
  let lastS = t0;
  for (let i = contactIndex + 1; i < around.timeS.length; i++) {
    const t = around.timeS[i] as number;
    const clipped =
      ((block.flags[around.first + i] as number) & (sampleFlag.accelClipped | sampleFlag.gyroClipped)) !== 0;
    if (t - lastS > bearing.gapS || (clipped && t - t0 > bearing.touchS)) return false;
    lastS = t;
  }
  return lastS - t0 > bearing.seenS;
}

/** Hands have stopped a ball by then, s, and hold it with little more than its weight; most of what is seen until later is less, m/s². */
const held = { fromS: 0.15, untilS: 0.3, mostMps2: 28, leastSamples: 4 } as const;

function isTossed(around: Surroundings, contactIndex: number, feignedMps2: (i: number) => number): boolean {
  const t0 = around.timeS[contactIndex] as number;
  let count = 0;
  let pushed = 0;
  for (let i = contactIndex + 1; i < around.timeS.length; i++) {
    const sinceS = (around.timeS[i] as number) - t0;
    if (sinceS < held.fromS) continue;
    if (sinceS > held.untilS) break;
    count++;
    if ((around.sizeMps2[i] as number) - feignedMps2(i) > held.mostMps2) pushed++;
  }
  return count >= held.leastSamples && pushed > count / 2;
}

/** A hand that stopped a ball at a blow holds it from then on; iron has let go of it, if only for a moment, before a net takes it. */
const light = { withinS: 0.06, leastS: 0.008, forceMps2: 2.5 } as const;

function lightAfterBlow(around: Surroundings, contactIndex: number): boolean {
  const t0 = around.timeS[contactIndex] as number;
  let sinceS = Number.NaN;
  for (let i = contactIndex + 1; i < around.timeS.length; i++) {
    const t = around.timeS[i] as number;
    if (t - t0 > light.withinS) return false;
    if ((around.sizeMps2[i] as number) > light.forceMps2) sinceS = Number.NaN;
    else if (Number.isNaN(sinceS)) sinceS = t;
    else if (t - sinceS >= light.leastS) return true;
  }
  return false;
}

/** @param feignedMps2 the ball counts as let go where no more than this is left beside the signs. */
function freeAfter(around: Surroundings, contactIndex: number, feignedMps2: (i: number) => number): boolean {
  const t0 = around.timeS[contactIndex] as number;
  const sinceS = free.signs.map(() => Number.NaN);
  for (let i = contactIndex + 1; i < around.timeS.length; i++) {
    const t = around.timeS[i] as number;
    if (t - t0 > free.withinS) return false;
    const sizeMps2 = (around.sizeMps2[i] as number) - feignedMps2(i);
    for (const [k, { forceMps2, leastS }] of free.signs.entries()) {
      if (sizeMps2 > forceMps2) sinceS[k] = Number.NaN;
      else if (Number.isNaN(sinceS[k])) sinceS[k] = t;
      else if (t - (sinceS[k] as number) >= leastS) return true;
    }
  }
  return false;
}

/** A hand that caught a ball has stopped it after this time, s; a net has not: it still falls this fast, m/s. */
const falling = { afterS: 0.24, leastMps: 1.8 } as const;

function fallsOn(block: ImuBlock, around: Surroundings, contactIndex: number, up: Vec3): boolean {
  const t0 = around.timeS[contactIndex] as number;
  let gained = 0;
  const clipped = (i: number) => ((block.flags[around.first + i] as number) & sampleFlag.accelClipped) !== 0;
  if (clipped(contactIndex)) return false;
  for (let i = contactIndex + 1; i < around.timeS.length; i++) {
    const t = around.timeS[i] as number;
    if (clipped(i)) return false;
    const h = t - (around.timeS[i - 1] as number);
    gained += (h / 2) * (dot(vecAt(around.forceMps2, i - 1), up) + dot(vecAt(around.forceMps2, i), up));
    if (t - t0 < falling.afterS) continue;
    return dot(vecAt(around.velocityMps, i), up) + gained < -falling.leastMps;
  }
  return false;
}

/**
 * Tells what the ball met.
 *
 * @param heightM height of the ball's centre above release.
 * @param ringM expected height of the ring above release and its standard deviation.
 * @param floor height of the ball's centre on the floor, above release (negative): the expected one, and the highest that
 * it can have; nothing else down there throws a ball up again as hard.
 */
export function judgeContact(
  impact: Impact,
  heightM: number,
  ringM: { readonly meanM: number; readonly standardDeviationM: number },
  floor: { readonly expectedM: number; readonly highestM: number },
): ContactKind {
  const above = heightM - ringM.meanM;
  const slack = ringM.standardDeviationM;
  // Nothing lies below the floor: what seems to was only let go higher up, or its arc is not well known.
  if (heightM < floor.expectedM + 0.3 + slack && (impact.hard || impact.freeAgain)) return 'floor';
  // Whoever holds a ball bears it; where that was not seen a soft touch may have been anything.
  if (impact.borne && (!impact.fallsOn || isHandsBlow(impact))) return 'hands';
  if (!impact.hard && !impact.freeAgain && !impact.fallsOn && !impact.tossed) return 'unknown';
  const bounces = impact.hard && impact.freeAgain && impact.durationS < longestBounceS && pushesUp(impact);
  if (heightM < floor.highestM && bounces) return 'floor';
  if (above < -0.5 - slack || above > 1.2 + slack) return impact.hard ? 'unknown' : 'hands';
  if (isNet(impact)) return 'net';
  // A board is upright; a ring is met from above, or hardly ever from straight beside.
  if (impact.reading) return impact.reading.board > impact.reading.ring ? 'board' : 'ring';
  const [forward, , up] = impact.impulseMps;
  const steepness = Math.atan2(up, -forward);
  const backward = forward < 0 && Math.abs(steepness) < (38 * Math.PI) / 180;
  return backward && above > 0.15 ? 'board' : 'ring';
}

/**
 * A net brakes a ball more gently or for longer than iron and board, which are done with it in a hundredth of a second: impulse over
 * peak of a half sine is 2/3 of its duration.
 */
const net = { forceMps2: 120, riseS: 0.011, leastS: 0.05, widthS: 0.0105, hardestMps2: 160 } as const;
/** Too hard for a net and too long for iron: m/s², and impulse over peak, s. */
const handsBlow = { forceMps2: 140, widthS: 0.014 } as const;

function isHandsBlow({ clipped, peakMps2, hardnessMps }: Impact): boolean {
  return !clipped && peakMps2 > handsBlow.forceMps2 && hardnessMps > handsBlow.widthS * peakMps2;
}

/** s and m/s². */
const grazed = { longestS: 0.012, leastMps2: 25 } as const;
/** The ball's motion changed by so much more, as a factor and m/s, than the accelerometer saw. */
const hidden = { factor: 1.6, leastMps: 1, leastByTurnMps: 0.5, sigmas: 2.5 } as const;

function isHidden(seenMps: number, rebound: ImpactRebound | null, leastMps: number): boolean {
  const all = rebound === null ? 0 : norm(rebound.impulseMps) - hidden.sigmas * rebound.standardDeviationMps;
  return all > hidden.factor * seenMps + hidden.leastMps || leastMps > hidden.factor * seenMps + hidden.leastByTurnMps;
}

/** @returns whether iron, glass or wood may have had a part in it. */
export function maybeFirm(impact: Impact): boolean {
  return impact.clipped || !isNet(impact);
}

function isNet({ hard, clipped, swung, hidden: unseen, peakMps2, riseS, durationS, hardnessMps }: Impact): boolean {
  if (swung || unseen) return false;
  // What grazes iron or a board's edge is done at once; a brushed net hardly pushes.
  if (!clipped && durationS < grazed.longestS && peakMps2 > grazed.leastMps2) return false;
  if (!hard && (peakMps2 < net.forceMps2 || riseS > net.riseS)) return true;
  return durationS > net.leastS || (!clipped && peakMps2 < net.hardestMps2 && hardnessMps > net.widthS * peakMps2);
}

/** A floor is done with a ball within this time, s, seen through a slow filter, too; hands brake it for longer. */
const longestBounceS = 0.06;
/** Friction of a floor turns its push by 35° at most: upward share. */
const floorPush = 0.8;

function pushesUp({ impulseMps, hardnessMps, rebound }: Impact): boolean {
  const push = rebound?.push;
  return (push ? push[2] : impulseMps[2] / Math.max(hardnessMps, 1e-6)) > floorPush;
}
