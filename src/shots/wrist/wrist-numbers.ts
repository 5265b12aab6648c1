import { add, cross, dot, norm, scale, subtract, unit, type Vec3 } from '../../signal/vec3.ts';
import type { Motion } from './path-motion.ts';
import type { Strapdown } from './strapdown.ts';
import { atWrist } from './wrist-lever.ts';

/** The instants between which numbers are read, s; null where an instant is not known. */
export interface Instants {
  readonly pickupS: number | null;
  readonly releaseS: number;
  /** True where the ball was in the hands before: lift is pickup then. */
  readonly held: boolean;
  /** The lift, where it is known better than by the lowest height of this one path. */
  readonly liftS?: number;
}

/** What one motion says, SI units; null where it cannot say. */
export interface WristNumbers {
  readonly liftS: number | null;
  readonly pauseS: number | null;
  /** Height of the pause between lift (0) and release (1). */
  readonly pauseShare: number | null;
  readonly dipM: number | null;
  readonly sideM: number | null;
  /** When it was that far aside. */
  readonly sideS: number | null;
  /** Largest excursion to the other side, for the doubt which side is larger. */
  readonly otherSideM: number | null;
  readonly planarity: number | null;
  /** Turn rate at release in the frame of travel: about the travel, to the left, up. */
  readonly releaseRateRadps: Vec3;
  readonly ahead: Vec3;
  readonly releaseSpeedMps: number;
}

const travelS = 0.12;
/** The lift begins at the last instant this near to the lowest height. */
export const liftToleranceM = 0.01;
export const pauseSpeedMps = 0.3;

/** Motion between two samples, linear. */
export class Instantaneous {
  private readonly path: Strapdown;
  constructor(path: Strapdown) {
    this.path = path;
  }

  /** @returns last sample at or before a time, within the window. */
  sampleAt(timeS: number): number {
    const { block } = this.path;
    let low = 0;
    let high = block.length - 1;
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if ((block.timeS[middle] as number) <= timeS) low = middle;
      else high = middle - 1;
    }
    return low;
  }

  /** @returns a vector between two samples. */
  at(timeS: number, of: (i: number) => Vec3): Vec3 {
    const i = this.sampleAt(timeS);
    const j = Math.min(i + 1, this.path.block.length - 1);
    if (j === i) return of(i);
    const t0 = this.path.timeOf(i);
    const share = Math.min(1, Math.max(0, (timeS - t0) / (this.path.timeOf(j) - t0)));
    const a = of(i);
    return add(a, scale(subtract(of(j), a), share));
  }
}

/** @returns horizontal direction of the hand's travel before release. */
export function travelDirection(path: Strapdown, motion: Motion, releaseS: number): Vec3 {
  return unit(levelTravelM(path, motion, releaseS), unit(cross(motion.up, [1, 0, 0])));
}

/** @returns horizontal way of the hand just before release, m. */
export function levelTravelM(path: Strapdown, motion: Motion, releaseS: number): Vec3 {
  const between = new Instantaneous(path);
  const position = (timeS: number): Vec3 => between.at(timeS, (i) => motion.positionM(i));
  const way = subtract(position(releaseS), position(releaseS - travelS));
  return subtract(way, scale(motion.up, dot(way, motion.up)));
}

/**
 * Reads the numbers of a shot off one motion.
 *
 * @param sensor motion of the sensor.
 * @param lever from the sensor to the wrist in the sensor's axes, m; null: the sensor stands for the wrist.
 * @param turnedRad by how much the way ahead is turned to the left of the hand's travel.
 */
export function readNumbers(
  path: Strapdown,
  sensor: Motion,
  instants: Instants,
  lever: Vec3 | null = null,
  turnedRad = 0,
): WristNumbers {
  const { up } = sensor;
  const motion = atWrist(path, sensor, lever);
  const { pickupS, releaseS, held } = instants;
  const between = new Instantaneous(path);
  const position = (timeS: number): Vec3 => between.at(timeS, (i) => motion.positionM(i));
  const travel = travelDirection(path, sensor, releaseS);
  const ahead = add(scale(travel, Math.cos(turnedRad)), scale(cross(up, travel), Math.sin(turnedRad)));
  const left = cross(up, ahead);
  const rate = between.at(releaseS, (i) => path.rateRadps(i));
  const releasePosition = position(releaseS);
  const common = {
    ahead,
    releaseRateRadps: [dot(rate, ahead), dot(rate, left), dot(rate, up)] as Vec3,
    releaseSpeedMps: norm(between.at(releaseS, (i) => sensor.velocityMps(i))),
  };
  if (pickupS === null) {
    return {
      ...common,
      liftS: null,
      pauseS: null,
      pauseShare: null,
      dipM: null,
      sideM: null,
      sideS: null,
      otherSideM: null,
      planarity: null,
    };
  }
  const from = between.sampleAt(pickupS);
  const to = between.sampleAt(releaseS);
  const way = new Way(motion, from, to);
  const height = (i: number): number => way.along(i, up);
  const speed = (i: number): number => way.riseMps[i - from] as number;
  const releaseHeight = dot(releasePosition, up);
  const pickupHeight = dot(position(pickupS), up);
  let lowest = Math.min(pickupHeight, releaseHeight);
  for (let i = from + 1; i <= to; i++) lowest = Math.min(lowest, height(i));
  let liftS = instants.liftS ?? pickupS;
  if (!held && instants.liftS === undefined)
    for (let i = from + 1; i <= to; i++) if (height(i) <= lowest + liftToleranceM) liftS = path.timeOf(i);
  const liftHeight = dot(position(liftS), up);
  let pauseS = 0;
  let pauseShare: number | null = null;
  let startS: number | null = null;
  const pauses = (i: number): boolean => Math.abs(speed(i)) < pauseSpeedMps;
  for (let i = from; i <= to; i++) {
    if (!pauses(i)) {
      startS = null;
      continue;
    }
    // Where the speed passes the limit between two samples.
    startS ??= i === from ? pickupS : crossing(path, i - 1, i, speed);
    const endS = i < to ? (pauses(i + 1) ? path.timeOf(i) : crossing(path, i, i + 1, speed)) : releaseS;
    if (endS - startS <= pauseS) continue;
    pauseS = endS - startS;
    const middle = dot(position((startS + endS) / 2), up);
    pauseShare = (middle - liftHeight) / Math.max(1e-6, releaseHeight - liftHeight);
  }
  let leftM = 0;
  let rightM = 0;
  let [leftmost, rightmost] = [to, to];
  for (let i = from; i <= to; i++) {
    const y = way.beyond(i, releasePosition, left);
    if (y > leftM) [leftM, leftmost] = [y, i];
    if (y < rightM) [rightM, rightmost] = [y, i];
  }
  const leftward = leftM > -rightM;
  return {
    ...common,
    liftS,
    pauseS,
    pauseShare,
    dipM: pickupHeight - liftHeight,
    sideM: leftward ? leftM : rightM,
    sideS: path.timeOf(leftward ? leftmost : rightmost),
    otherSideM: leftward ? rightM : leftM,
    planarity: planarityOf(way, up, between.sampleAt(liftS), to),
  };
}

function crossing(path: Strapdown, i: number, j: number, speed: (i: number) => number): number {
  const [a, b] = [Math.abs(speed(i)) - pauseSpeedMps, Math.abs(speed(j)) - pauseSpeedMps];
  const share = a === b ? 0.5 : Math.min(1, Math.max(0, a / (a - b)));
  return path.timeOf(i) + share * (path.timeOf(j) - path.timeOf(i));
}

/** Positions and upward speeds of samples `[from, to]`, worked out once: they are looked at again and again. */
class Way {
  readonly from: number;
  private readonly position: Float64Array;
  readonly riseMps: Float64Array;

  constructor(motion: Motion, from: number, to: number) {
    const count = Math.max(0, to - from + 1);
    this.from = from;
    this.position = new Float64Array(3 * count);
    this.riseMps = new Float64Array(count);
    for (let k = 0; k < count; k++) {
      const [x, y, z] = motion.positionM(from + k);
      this.position[3 * k] = x;
      this.position[3 * k + 1] = y;
      this.position[3 * k + 2] = z;
      this.riseMps[k] = motion.riseMps(from + k);
    }
  }

  /** Part of the position at sample `i` along an axis. */
  along(i: number, axis: Vec3): number {
    const { position } = this;
    const at = 3 * (i - this.from);
    return (
      (position[at] as number) * axis[0] +
      (position[at + 1] as number) * axis[1] +
      (position[at + 2] as number) * axis[2]
    );
  }

  /** The same of the way there from a place. */
  beyond(i: number, place: Vec3, axis: Vec3): number {
    const { position } = this;
    const at = 3 * (i - this.from);
    const x = (position[at] as number) - place[0];
    const y = (position[at + 1] as number) - place[1];
    const z = (position[at + 2] as number) - place[2];
    return x * axis[0] + y * axis[1] + z * axis[2];
  }

  /** Length of the step to sample `i`. */
  stepM(i: number): number {
    const { position } = this;
    const at = 3 * (i - this.from);
    const x = (position[at] as number) - (position[at - 3] as number);
    const y = (position[at + 1] as number) - (position[at - 2] as number);
    const z = (position[at + 2] as number) - (position[at - 1] as number);
    return Math.sqrt(x * x + y * y + z * z);
  }
}

/** RMS distance of the path from its best vertical plane, over the length of the path. */
function planarityOf(way: Way, up: Vec3, from: number, to: number): number | null {
  if (to - from < 3) return null;
  const [e, f] = levelAxes(up);
  let [sx, sy, sxx, sxy, syy] = [0, 0, 0, 0, 0];
  let length = 0;
  const n = to - from + 1;
  for (let i = from; i <= to; i++) {
    const x = way.along(i, e);
    const y = way.along(i, f);
    sx += x;
    sy += y;
    sxx += x * x;
    sxy += x * y;
    syy += y * y;
    if (i > from) length += way.stepM(i);
  }
  const [mx, my] = [sx / n, sy / n];
  const xx = sxx / n - mx * mx;
  const xy = sxy / n - mx * my;
  const yy = syy / n - my * my;
  // The smaller eigenvalue is the mean square distance from the line that the plane makes on the floor.
  const least = (xx + yy) / 2 - Math.hypot((xx - yy) / 2, xy);
  return Math.sqrt(Math.max(0, least)) / length;
}

function levelAxes(up: Vec3): readonly [Vec3, Vec3] {
  const e = unit(cross(up, Math.abs(up[0]) < 0.8 ? [1, 0, 0] : [0, 1, 0]));
  return [e, cross(up, e)];
}
