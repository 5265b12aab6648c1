import { standardGravityMps2 } from '../../foundation/constants.ts';
import { conjugate, rotate } from '../../signal/rotation.ts';
import { add, cross, dot, norm, scale, subtract, unit, type Vec3 } from '../../signal/vec3.ts';
import { type Motion, unknown } from './path-motion.ts';
import type { Strapdown } from './strapdown.ts';
import type { WristParams } from './wrist-params.ts';

/** What a movement about a snap looks like, SI units; times are those of the samples. */
export interface Movement {
  /** Sample of the snap. */
  readonly snap: number;
  readonly snapS: number;
  readonly snapRateRadps: number;
  /** Rise of the hand from its lowest in the 1.6 s before the snap. */
  readonly riseM: number;
  /** Time of that lowest. */
  readonly lowestS: number;
  /** Greatest upward speed shortly before the snap, and its sample. */
  readonly riseSpeedMps: number;
  readonly fastest: number;
  readonly fastestS: number;
  /** Speed there. */
  readonly speedMps: number;
  /** From there to the snap. */
  readonly snapDelayS: number;
  /** Steepness of the travel where the hand is fastest. */
  readonly steepRad: number;
  readonly levelSpeedMps: number;
  /** Least way over the floor in the second before the push that the path allows for: a running player. */
  readonly runM: number;
  /** Horizontal direction of travel, in the frame. */
  readonly ahead: Vec3;
  /** Gain of upward speed in the last 0.3 s before it is greatest. */
  readonly pushGainMps: number;
  /** Turn about the level axis across the travel through the snap; negative backward. */
  readonly forwardTurnRad: number;
  /** From the greatest upward speed until a third of it is left; null when it does not get so slow. */
  readonly stopS: number | null;
  /** Height gained meanwhile; as far as the samples go when it does not get so slow. */
  readonly stopWayM: number;
  /** Time from the snap until the turning has ended; null when it does not end. */
  readonly settleS: number | null;
  /** Quickest turn within 0.3 s after that, as a share of the snap; 0 when the turning does not end. */
  readonly againShare: number;
  /** Highest and lowest of the hand after the snap, against its height there. */
  readonly overshootM: number;
  readonly dropM: number;
  readonly fallSpeedMps: number;
  /** Quickest level travel later on while the hand is still up, as a share of the speed of the push. */
  readonly laterShare: number;
  /** Time from the snap until the hand is that much lower; null when it stays up. */
  readonly downS: number | null;
  /** Height 0.15 s after the snap against that at the snap. */
  readonly riseOnM: number;
  /** Axis of the snap: its part along the vertical and along the travel, from 0 to 1. */
  readonly snapUpShare: number;
  readonly snapRollShare: number;
  /** By how much gravity has turned in the sensor from 0.3 s before the snap to 0.25 s after it. */
  readonly carriedTurnRad: number;
  /** Mean rate from 0.15 to 0.4 s after the snap. */
  readonly holdRateRadps: number;
  /** Direction of forearm or hand above level at the snap, and the greatest about it; null while the mount is not known. */
  readonly elevationRad: number | null;
  readonly raisedRad: number | null;
}

const look = {
  riseBackS: 1.6,
  pushBackS: 0.15,
  edgeS: 0.015,
  speedBackS: 0.22,
  speedOnS: 0.04,
  turnBackS: 0.03,
  turnOnS: 0.2,
  pushS: 0.3,
  stopShare: 0.35,
  doubt: 2,
  doubtMps: 0.3,
  runS: 1,
  runEndS: 0.2,
  afterS: 0.3,
  laterFromS: 0.15,
  laterToS: 1.2,
  downToS: 2,
  downM: 0.3,
  riseOnS: 0.15,
  carryFromS: -0.3,
  carryToS: 0.25,
  holdFromS: 0.15,
  holdToS: 0.4,
  raisedFromS: -0.4,
  raisedToS: 0.18,
  raisedStepS: 0.02,
} as const;

/**
 * Reads the features of a movement off its path.
 *
 * @param longAxis direction of forearm or hand in the sensor's axes, null where it is not known.
 */
export function readMovement(path: Strapdown, motion: Motion, longAxis: Vec3 | null, params: WristParams): Movement {
  const { up } = motion;
  const snap = path.reference;
  const snapS = path.timeOf(snap);
  const n = path.block.length;
  const each = (fromS: number, toS: number, use: (i: number) => void): void => {
    let i = snap;
    while (i > 0 && path.timeOf(i - 1) >= snapS + fromS) i--;
    for (; i < n && path.timeOf(i) <= snapS + toS; i++) if (path.timeOf(i) >= snapS + fromS) use(i);
  };
  const height = (i: number): number => motion.heightM(i);
  let lowest = 0;
  let lowestAt = snap;
  each(-look.riseBackS, 0, (i) => {
    const h = height(i);
    if (h >= lowest) return;
    lowest = h;
    lowestAt = i;
  });
  let fastest = snap;
  let rising = snap;
  let speed = -1;
  let riseSpeedMps = Number.NEGATIVE_INFINITY;
  const takeFastest = (backS: number): void =>
    each(-backS, look.speedOnS, (i) => {
      const rise = motion.riseMps(i);
      if (rise > riseSpeedMps) {
        riseSpeedMps = rise;
        rising = i;
      }
      const size = norm(motion.velocityMps(i));
      if (size > speed) {
        speed = size;
        fastest = i;
      }
    });
  // The push that the snap ends is the last one: a quicker raise before it is looked at only where it runs on into it.
  takeFastest(look.pushBackS);
  const ownPush = path.timeOf(fastest) > snapS - look.pushBackS + look.edgeS;
  if (!ownPush) takeFastest(look.speedBackS);
  const v = motion.velocityMps(fastest);
  const rise = dot(v, up);
  const level = subtract(v, scale(up, rise));
  // The push says where a shot goes; a player who drifts or runs carries the hand elsewhere besides.
  let slow = fastest;
  while (slow > 0 && path.timeOf(fastest) - path.timeOf(slow) < look.pushS) slow--;
  const gained = subtract(v, motion.velocityMps(slow));
  const push = subtract(gained, scale(up, dot(gained, up)));
  const ahead = unit(push, unit(cross(up, [1, 0, 0])));
  const across = cross(up, ahead);
  const snapRateRadps = norm(path.rateRadps(snap));
  let turned: Vec3 = [0, 0, 0];
  each(path.timeOf(fastest) - look.turnBackS - snapS, path.timeOf(fastest) + look.turnOnS - snapS, (i) => {
    if (i > 0) turned = add(turned, scale(path.rateRadps(i), path.timeOf(i) - path.timeOf(i - 1)));
  });
  // Where the travel is steep, its heading is in doubt; the snap counts as forward within that doubt.
  const turnedAcross = Math.abs(Math.atan2(dot(turned, ahead), dot(turned, across)));
  const doubt = Math.atan2(
    look.doubt * path.deviationOf(unknown.tilt) * standardGravityMps2 * look.pushS + look.doubtMps,
    norm(push),
  );
  const forwardTurnRad =
    Math.hypot(dot(turned, ahead), dot(turned, across)) * Math.cos(Math.max(0, turnedAcross - doubt));
  let slowestMps = riseSpeedMps;
  each(path.timeOf(rising) - look.pushS - snapS, path.timeOf(rising) - snapS, (i) => {
    slowestMps = Math.min(slowestMps, motion.riseMps(i));
  });
  let stopS: number | null = null;
  let stopWayM = 0;
  each(path.timeOf(rising) - snapS, 1, (i) => {
    if (stopS !== null) return;
    stopWayM = height(i) - height(rising);
    if (motion.riseMps(i) < look.stopShare * riseSpeedMps) stopS = path.timeOf(i) - path.timeOf(rising);
  });
  let downS: number | null = null;
  let laterMps = 0;
  each(0, look.downToS, (i) => {
    if (downS === null && height(i) < -look.downM) downS = path.timeOf(i) - snapS;
    const sinceS = path.timeOf(i) - snapS;
    if (downS !== null || sinceS < look.laterFromS || sinceS > look.laterToS) return;
    const w = motion.velocityMps(i);
    laterMps = Math.max(laterMps, norm(subtract(w, scale(up, dot(w, up)))));
  });
  let settleS: number | null = null;
  let again = 0;
  let overshootM = 0;
  let dropM = 0;
  let fallSpeedMps = 0;
  each(0, 0.8, (i) => {
    const rate = norm(path.rateRadps(i));
    if (settleS !== null && path.timeOf(i) - snapS - settleS < look.afterS) again = Math.max(again, rate);
    if (settleS === null && rate < params.followRateShare * snapRateRadps) settleS = path.timeOf(i) - snapS;
    overshootM = Math.max(overshootM, height(i));
    if (path.timeOf(i) - snapS <= look.afterS) {
      dropM = Math.max(dropM, -height(i));
      fallSpeedMps = Math.max(fallSpeedMps, -motion.riseMps(i));
    }
  });
  const last = (afterS: number): number => {
    let i = snap;
    const way = afterS < 0 ? -1 : 1;
    while (i + way >= 0 && i + way < n && way * (path.timeOf(i) - snapS - afterS) < 0) i += way;
    return way > 0 && path.timeOf(i) > snapS + afterS ? i - 1 : i;
  };
  const upAt = (i: number): Vec3 => rotate(conjugate(path.quaternion(i)), up);
  const elevation = (i: number): number | null =>
    longAxis && Math.asin(Math.min(1, Math.max(-1, dot(longAxis, upAt(i)))));
  let raisedRad = elevation(snap);
  if (raisedRad !== null) {
    for (let s = look.raisedFromS; s <= look.raisedToS; s += look.raisedStepS) {
      raisedRad = Math.max(raisedRad, elevation(last(s)) as number);
    }
  }
  let held = 0;
  let heldCount = 0;
  for (let i = last(look.holdFromS); i <= last(look.holdToS); i++) {
    held += norm(path.rateInSensor(i));
    heldCount++;
  }
  const axis = unit(path.rateRadps(snap));
  return {
    riseOnM: height(last(look.riseOnS)),
    snapUpShare: Math.abs(dot(axis, up)),
    snapRollShare: Math.abs(dot(axis, ahead)),
    carriedTurnRad: Math.acos(Math.min(1, Math.max(-1, dot(upAt(last(look.carryFromS)), upAt(last(look.carryToS)))))),
    holdRateRadps: held / heldCount,
    elevationRad: elevation(snap),
    raisedRad,
    snap,
    snapS,
    snapRateRadps,
    riseM: -lowest,
    lowestS: path.timeOf(lowestAt),
    riseSpeedMps,
    fastest,
    fastestS: path.timeOf(fastest),
    speedMps: norm(v),
    snapDelayS: snapS - path.timeOf(fastest),
    steepRad: Math.atan2(rise, norm(level)),
    levelSpeedMps: norm(level),
    runM: runOf(path, motion, fastest),
    ahead,
    pushGainMps: riseSpeedMps - slowestMps,
    forwardTurnRad,
    stopS,
    stopWayM,
    laterShare: laterMps / Math.max(0.1, norm(v)),
    downS,
    settleS,
    againShare: again / snapRateRadps,
    overshootM,
    dropM,
    fallSpeedMps,
  };
}

/** @returns way over the floor from 1.2 s to 0.2 s before sample `fastest`, less twice its error. */
function runOf(path: Strapdown, motion: Motion, fastest: number): number {
  const endS = path.timeOf(fastest) - look.runEndS;
  let to = fastest;
  while (to > 0 && path.timeOf(to) > endS) to--;
  let from = to;
  while (from > 0 && path.timeOf(from) > endS - look.runS) from--;
  const way = subtract(motion.positionM(to), motion.positionM(from));
  const level = subtract(way, scale(motion.up, dot(way, motion.up)));
  const spanS = path.timeOf(to) - path.timeOf(from);
  return Math.max(0, norm(level) - 2 * path.deviationOf(unknown.velocity) * spanS);
}
