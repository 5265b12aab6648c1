import { standardGravityMps2 } from '../../foundation/constants.ts';
import { dot, type Vec3, vecAt } from '../../signal/vec3.ts';
import type { StartKind } from '../shot.ts';
import type { Walk } from './walk-back.ts';

/** Limits that define the phases before release; each stands in the definition of its quantity. */
export const phaseLimits = {
  /** m; lift is the last instant this close to the lowest height. */
  liftBandM: 0.01,
  /** m/s; slower than this up or down is a pause. */
  pauseMps: 0.3,
  /** m/s; slower than this up or down is a rest at the low point of a held ball. */
  restMps: 0.1,
  /** m; how far below release a rest must lie to start the clock of a held ball. */
  restBelowM: 0.6,
  /** s; in the hands this long before the lift is `hold`. */
  holdS: 1.5,
  /** s; nearly still this long, low, before the lift is `hold`. */
  stillS: 0.4,
  /** m/s in any direction, m/s² beside gravity: nearly still. */
  stillMps: 0.2,
  stillForceMps2: 4,
} as const;

/**
 * A path's speed along the floor may be off by this much, m/s, and steadily so while the ball lies still: what it shows in the
 * steadiest `coreS` there, s, is that error.
 */
const levelDoubt = { mps: 0.6, coreS: 0.2 } as const;

/** Axes of one shot in the frozen frame. */
export interface ShotAxes {
  readonly forward: Vec3;
  readonly left: Vec3;
  readonly up: Vec3;
}

/** Phases of the shot before release, times in s of the recording, lengths in m. */
export interface PathPhases extends PathWay {
  /** Longest time nearly still and low before the lift, s. */
  readonly stillS: number;
}

/** The same but for what hangs on all of the ball's speed. */
export interface PathWay {
  readonly liftS: number;
  readonly liftHeightM: number;
  readonly pickupHeightM: number;
  readonly pauseS: number;
  /** Middle of the longest pause and its height as a share of the way from lift to release. */
  readonly pauseShare: number;
  readonly sidePathM: number;
  /** The largest excursion to the other side, 0 where there is none. */
  readonly otherSideM: number;
  /** Last rest low enough to start the clock of a held ball; null where there was none. */
  readonly lowRestS: number | null;
}

/** Heights and sideways places along a walk, in time order from the walk's far end (index 0) to release. */
export interface RoomPath {
  readonly length: number;
  readonly timeS: Float64Array;
  /** m above release. */
  readonly heightM: Float64Array;
  readonly riseMps: Float64Array;
  /** m to the shooter's left of the launch plane. */
  readonly sideM: Float64Array;
  /** Velocity along the floor, forward and to the left. */
  readonly forwardMps: Float64Array;
  readonly leftMps: Float64Array;
  /** Force per unit mass beside gravity, m/s². */
  readonly forceMps2: Float64Array;
}

/** @returns the walk in the shot's axes, turned to time order, ending with an entry at release itself. */
export function roomPath(walk: Walk, axes: ShotAxes, releaseS: number): RoomPath {
  // The walk starts at the first sample in flight, a fraction of a sample after release.
  const v0 = vecAt(walk.velocityMps, 0);
  const lag = (walk.timeS[0] as number) - releaseS;
  const atRelease: Vec3 = [-lag * v0[0], -lag * v0[1], -lag * v0[2]];
  let first = 0;
  while (first < walk.length && (walk.timeS[first] as number) > releaseS) first++;
  const n = walk.length - first;
  const timeS = new Float64Array(n + 1);
  const heightM = new Float64Array(n + 1);
  const riseMps = new Float64Array(n + 1);
  const sideM = new Float64Array(n + 1);
  const forwardMps = new Float64Array(n + 1);
  const leftMps = new Float64Array(n + 1);
  const forceMps2 = new Float64Array(n + 1);
  const [ux, uy, uz] = axes.up;
  const [lx, ly, lz] = axes.left;
  const [ax, ay, az] = axes.forward;
  const { positionM, velocityMps, forceMps2: force } = walk;
  for (let k = 0; k < n; k++) {
    const at = walk.length - 1 - k;
    const o = 3 * at;
    const x = (positionM[o] as number) - atRelease[0];
    const y = (positionM[o + 1] as number) - atRelease[1];
    const z = (positionM[o + 2] as number) - atRelease[2];
    const vx = velocityMps[o] as number;
    const vy = velocityMps[o + 1] as number;
    const vz = velocityMps[o + 2] as number;
    timeS[k] = walk.timeS[at] as number;
    heightM[k] = x * ux + y * uy + z * uz;
    sideM[k] = x * lx + y * ly + z * lz;
    riseMps[k] = vx * ux + vy * uy + vz * uz;
    forwardMps[k] = vx * ax + vy * ay + vz * az;
    leftMps[k] = vx * lx + vy * ly + vz * lz;
    const fx = (force[o] as number) - standardGravityMps2 * ux;
    const fy = (force[o + 1] as number) - standardGravityMps2 * uy;
    const fz = (force[o + 2] as number) - standardGravityMps2 * uz;
    forceMps2[k] = Math.sqrt(fx * fx + fy * fy + fz * fz);
  }
  timeS[n] = releaseS;
  riseMps[n] = dot(v0, axes.up);
  forwardMps[n] = dot(v0, axes.forward);
  leftMps[n] = dot(v0, axes.left);
  return { length: n + 1, timeS, heightM, riseMps, sideM, forwardMps, leftMps, forceMps2 };
}

/** Index of the first entry at or after `timeS`. */
function indexAt(path: RoomPath, timeS: number): number {
  let low = 0;
  let high = path.length - 1;
  while (low < high) {
    const middle = (low + high) >> 1;
    if ((path.timeS[middle] as number) < timeS) low = middle + 1;
    else high = middle;
  }
  return low;
}

/** Instant between entries i−1 and i at which `values` crosses `level`, by a straight line. */
function crossing(path: RoomPath, values: Float64Array, i: number, level: number): number {
  const a = values[i - 1] as number;
  const b = values[i] as number;
  const share = a === b ? 0.5 : Math.min(1, Math.max(0, (level - a) / (b - a)));
  return (path.timeS[i - 1] as number) + share * ((path.timeS[i] as number) - (path.timeS[i - 1] as number));
}

/** @returns height at an instant, by a straight line between entries, m above release. */
export function heightAt(path: RoomPath, timeS: number): number {
  const i = Math.max(1, indexAt(path, timeS));
  const t0 = path.timeS[i - 1] as number;
  const t1 = path.timeS[i] as number;
  const share = t1 > t0 ? (timeS - t0) / (t1 - t0) : 0;
  const h0 = path.heightM[i - 1] as number;
  return h0 + Math.min(1, Math.max(0, share)) * ((path.heightM[i] as number) - h0);
}

/**
 * Reads the phases off a path.
 *
 * @param fromS instant at which the ball came to the hands, or the start of what is known.
 * @param held whether the clock starts at the last low rest instead.
 */
export function readPhases(path: RoomPath, fromS: number, held: boolean): PathPhases {
  const way = readWay(path, fromS, held);
  const { liftS, lowRestS } = way;
  return { ...way, stillS: longestStill(path, fromS, Math.max(liftS, lowRestS ?? liftS), 0) };
}

/** The same without what is still. */
export function readWay(path: RoomPath, fromS: number, held: boolean): PathWay {
  const last = path.length - 1;
  const limits = phaseLimits;
  const lowRestS = lastLowRest(path);
  const startS = held && lowRestS !== null ? lowRestS : fromS;
  const begin = Math.min(last, indexAt(path, startS));
  const pickupHeightM = heightAt(path, startS);
  let lowest = pickupHeightM;
  for (let i = begin; i <= last; i++) lowest = Math.min(lowest, path.heightM[i] as number);
  let liftS = startS;
  for (let i = last; i > begin; i--) {
    if ((path.heightM[i - 1] as number) <= lowest + limits.liftBandM) {
      liftS = crossing(path, path.heightM, i, lowest + limits.liftBandM);
      break;
    }
  }
  if (held) liftS = startS;
  const liftHeightM = held ? pickupHeightM : heightAt(path, liftS);
  let pauseS = 0;
  let pauseShare = 0;
  let openS = -1;
  const close = (endS: number) => {
    if (openS < 0) return;
    if (endS - openS > pauseS) {
      pauseS = endS - openS;
      const height = heightAt(path, (openS + endS) / 2);
      pauseShare = (height - liftHeightM) / Math.max(1e-6, -liftHeightM);
    }
    openS = -1;
  };
  let mostLeft = 0;
  let mostRight = 0;
  for (let i = begin; i <= last; i++) {
    const rise = path.riseMps[i] as number;
    if (Math.abs(rise) < limits.pauseMps) {
      if (openS < 0) {
        const entered = i > begin && i > 0;
        const level = entered && (path.riseMps[i - 1] as number) > 0 ? limits.pauseMps : -limits.pauseMps;
        openS = entered ? crossing(path, path.riseMps, i, level) : Math.max(startS, path.timeS[i] as number);
      }
    } else if (openS >= 0) close(crossing(path, path.riseMps, i, rise > 0 ? limits.pauseMps : -limits.pauseMps));
    mostLeft = Math.max(mostLeft, path.sideM[i] as number);
    mostRight = Math.min(mostRight, path.sideM[i] as number);
  }
  close(path.timeS[last] as number);
  return {
    liftS,
    liftHeightM,
    pickupHeightM,
    pauseS,
    pauseShare,
    sidePathM: mostLeft > -mostRight ? mostLeft : mostRight,
    otherSideM: mostLeft > -mostRight ? mostRight : mostLeft,
    lowRestS,
  };
}

/** @returns the longest time nearly still and low, where all of the path may rise too fast by `offMps`, s. */
export function stillAtDoubt(path: RoomPath, fromS: number, phases: PathPhases, offMps: number): number {
  return longestStill(path, fromS, Math.max(phases.liftS, phases.lowRestS ?? phases.liftS), offMps);
}

function lastLowRest(path: RoomPath): number | null {
  const limits = phaseLimits;
  for (let i = path.length - 1; i > 0; i--) {
    if ((path.heightM[i] as number) > -limits.restBelowM) continue;
    const now = path.riseMps[i] as number;
    const before = path.riseMps[i - 1] as number;
    if (Math.abs(now) < limits.restMps) {
      // The speed grows past the limit after this entry: the rest ends between it and the next one.
      if (i + 1 < path.length && Math.abs(path.riseMps[i + 1] as number) >= limits.restMps) {
        const level = (path.riseMps[i + 1] as number) > 0 ? limits.restMps : -limits.restMps;
        return crossing(path, path.riseMps, i + 1, level);
      }
      return path.timeS[i] as number;
    }
    // A quick turn from down to up can pass through the band between two entries.
    if (before < 0 && now > 0) return crossing(path, path.riseMps, i, limits.restMps);
  }
  return null;
}

/** Longest stretch, low and nearly still, between two instants. */
function longestStill(path: RoomPath, fromS: number, toS: number, offMps: number): number {
  const { stillMps, stillForceMps2, stillS, restBelowM } = phaseLimits;
  const { length, timeS, heightM, riseMps, forwardMps, leftMps, forceMps2 } = path;
  let longest = 0;
  let open = -1;
  for (let i = indexAt(path, fromS); i <= length; i++) {
    const still =
      i < length &&
      (timeS[i] as number) <= toS &&
      (heightM[i] as number) < -restBelowM &&
      Math.abs((riseMps[i] as number) - offMps) < stillMps &&
      Math.hypot(forwardMps[i] as number, leftMps[i] as number) < levelDoubt.mps &&
      (forceMps2[i] as number) < stillForceMps2;
    if (still && open < 0) open = i;
    if (still || open < 0) continue;
    const lastsS = (timeS[i - 1] as number) - (timeS[open] as number);
    if (lastsS > longest) longest = Math.max(longest, lastsS < stillS ? lastsS : stillWithin(path, open, i, offMps));
    open = -1;
    if (i >= length || (timeS[i] as number) > toS) break;
  }
  return longest;
}

/** Longest stretch within entries `[from, to)` in which the ball moves with nothing but the path's own steady error, s. */
function stillWithin(
  { timeS, riseMps, forwardMps, leftMps }: RoomPath,
  from: number,
  to: number,
  offMps: number,
): number {
  // The steadiest core by running sums: count, velocities, their squares.
  let [n, f, l, squares] = [0, 0, 0, 0];
  let [bestF, bestL, least] = [0, 0, Number.POSITIVE_INFINITY];
  let start = from;
  for (let i = from; i < to; i++) {
    const add = (k: number, sign: number) => {
      const [a, b] = [forwardMps[k] as number, leftMps[k] as number];
      n += sign;
      f += sign * a;
      l += sign * b;
      squares += sign * (a * a + b * b);
    };
    add(i, 1);
    while ((timeS[i] as number) - (timeS[start] as number) > levelDoubt.coreS) add(start++, -1);
    if (start === from && i + 1 < to && (timeS[i + 1] as number) - (timeS[from] as number) <= levelDoubt.coreS)
      continue;
    const scatter = squares / n - (f / n) ** 2 - (l / n) ** 2;
    if (scatter < least) [bestF, bestL, least] = [f / n, l / n, scatter];
  }
  let longest = 0;
  let openS = Number.NaN;
  for (let i = from; i < to; i++) {
    const level = Math.hypot((forwardMps[i] as number) - bestF, (leftMps[i] as number) - bestL);
    const speed = Math.hypot(level, (riseMps[i] as number) - offMps);
    if (!(speed < phaseLimits.stillMps)) openS = Number.NaN;
    else if (Number.isNaN(openS)) openS = timeS[i] as number;
    if (!Number.isNaN(openS)) longest = Math.max(longest, (timeS[i] as number) - openS);
  }
  return longest;
}

/** What the ball did before it came to the hands, as evidence for the kind of start. */
export interface Arrival {
  /** The hand meets the ball. */
  readonly endS: number;
  /** Horizontal speed of the arriving ball against the hands that then carried it, m/s. */
  readonly closingMps: number;
  /** The flight before came off the floor. */
  readonly bounced: boolean;
  /** Floor bounces with short hand contacts between them before. */
  readonly rhythm: boolean;
  /** How it was thrown to the floor: level speed against those hands and speed upward, m/s, and from how high, m. */
  readonly thrown: { readonly levelMps: number; readonly riseMps: number; readonly dropM: number } | null;
}

/**
 * What tells a pass or a toss by way of the floor from a dribble. A dribble is pushed down from hip height by a hand above it, hardly
 * faster along the floor than its player runs; a pass is pushed forward from the chest, to someone else; a toss to oneself
 * starts upward. A rhythm of dribbles before makes another one likelier. Common practice, no source; m/s.
 */
const dribbleLimits = {
  tossedMps: 0.8,
  /** Let go higher than this, m, it was no dribble. */
  dropM: 1.25,
  /** Level speed less the speed downward, and with it what being let go higher than a usual dribble, m, counts, 1/s. */
  forwardMps: 2.4,
  usualDropM: 0.6,
  perDropS: 3,
  rhythmMps: 0.6,
  /** Level speed at the hands, where the way down was not seen. */
  closingMps: 2.4,
  closingInRhythmMps: 4.3,
} as const;

/** @returns the start kind; `hold` takes precedence. */
export function judgeStart(arrival: Arrival | null, inHandsS: number, stillS: number): StartKind {
  if (inHandsS >= phaseLimits.holdS || stillS >= phaseLimits.stillS) return 'hold';
  if (!arrival) return 'unknown';
  if (!arrival.bounced) return 'catch';
  const limits = dribbleLimits;
  const { thrown, rhythm } = arrival;
  if (!thrown)
    return arrival.closingMps < (rhythm ? limits.closingInRhythmMps : limits.closingMps) ? 'dribble' : 'catch';
  if (thrown.riseMps > limits.tossedMps || thrown.dropM > limits.dropM) return 'catch';
  const forwardMps = thrown.levelMps + thrown.riseMps + limits.perDropS * (thrown.dropM - limits.usualDropM);
  return forwardMps < limits.forwardMps + (rhythm ? limits.rhythmMps : 0) ? 'dribble' : 'catch';
}
