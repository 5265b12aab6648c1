import { type ImuBlock, sampleFlag } from '../../foundation/imu-block.ts';
import { type Quaternion, rotate } from '../../signal/rotation.ts';
import { add, cross, norm, scale, subtract, type Vec3, vecAt } from '../../signal/vec3.ts';
import type { Walk } from './walk-back.ts';

/** One standard deviation of a step in velocity that the samples of a walk do not show, in the frame of the walk. */
export interface StepDoubt {
  /** Entry of the walk right behind it. */
  readonly entry: number;
  readonly atS: number;
  readonly velocityMps: Vec3;
}

/** What a gap's cubic may miss: a share of the force's change across it, and a share of what it adds to a straight line. */
const gapShares = { change: 0.03, bend: 0.4 } as const;
/**
 * A blow that hardly more than one sample shows, m/s², has an area known to this share of what it stands above its neighbours; the wider
 * it is, the less its samples may miss.
 */
const narrowBlow = { leastMps2: 40, narrow: 1.2, share: 0.12 } as const;
/** Share of the force by which a clipped sample falls short on the mean. */
const clippedShare = 0.2;
/** A parabola that comes to the end of the range with a slope s and leaves it a time T later holds s T² / 6 beyond it. */
const beyondRange = 1 / 6;
/**
 * A flank that comes to the end of the range from below this share of it within one sample may be steeper than samples show: up to what stops a pass of
 * 8 m/s within 12 ms, a half sine of slope π² J / (2 T²), m/s³. No more is lost there than passes bring along, m/s.
 */
const hiddenFlank = { fromShare: 0.5, slopeMps3: 2.7e5, mostMps: 4 } as const;

/**
 * @param from sample at which the walk starts.
 * @param sinceS where the doubts stop to matter.
 * @returns what lost and clipped samples hide on the way from `sinceS` to the walk's start, latest first.
 */
export function stepDoubts(block: ImuBlock, walk: Walk, from: number, sinceS: number): StepDoubt[] {
  const doubts: StepDoubt[] = [];
  const force = (k: number): Vec3 => vecAt(walk.forceMps2, k);
  const timeS = (k: number): number => walk.timeS[k] as number;
  let clipped: Vec3 = [0, 0, 0];
  let clippedFrom = 0;
  let clippedS = 0;
  const closeClipped = (entry: number, atS: number, end: number): void => {
    if (norm(clipped) > 0) {
      const shownMps = beyondRange * slopeBeside(walk.forceMps2, walk.timeS, clippedFrom, end) * clippedS ** 2;
      const beyondMps = Math.hypot(shownMps, flankMps(walk, clippedFrom, end, clippedS));
      const share = norm(clipped);
      doubts.push({ entry, atS, velocityMps: scale(clipped, Math.hypot(share, beyondMps) / share) });
    }
    clipped = [0, 0, 0];
  };
  for (let k = 1; k < walk.length && timeS(k) > sinceS; k++) {
    const i = from - k;
    const lengthS = timeS(k - 1) - timeS(k);
    const gap = ((block.flags[i + 1] as number) & sampleFlag.gapBefore) !== 0;
    if (((block.flags[i] as number) & sampleFlag.accelClipped) !== 0) {
      if (norm(clipped) === 0) {
        clippedFrom = k;
        clippedS = 0;
      }
      clippedS += lengthS;
      clipped = add(clipped, scale(largestAxis(block, walk, i, k), clippedShare * lengthS));
    } else closeClipped(k - 1, timeS(k), k);
    const blowMps = gap ? 0 : narrowBlowMps(force, k, walk.length, lengthS);
    if (blowMps > 0) {
      const along = scale(force(k), 1 / norm(force(k)));
      doubts.push({ entry: k - 1, atS: timeS(k), velocityMps: scale(along, blowMps) });
    }
    if (!gap) continue;
    let sizeMps = gapShares.change * norm(subtract(force(k - 1), force(k))) * lengthS;
    if (k >= 2 && k + 1 < walk.length) {
      const late = scale(subtract(force(k - 2), force(k - 1)), 1 / (timeS(k - 2) - timeS(k - 1)));
      const early = scale(subtract(force(k), force(k + 1)), 1 / (timeS(k) - timeS(k + 1)));
      const bendMps = ((lengthS * lengthS) / 12) * norm(subtract(early, late));
      const most = 0.25 * lengthS * Math.max(norm(force(k - 1)), norm(force(k)));
      sizeMps += gapShares.bend * Math.min(bendMps, most);
    }
    const atS = (timeS(k - 1) + timeS(k)) / 2;
    for (const velocityMps of [
      [sizeMps, 0, 0],
      [0, sizeMps, 0],
      [0, 0, sizeMps],
    ] as const) {
      doubts.push({ entry: k - 1, atS, velocityMps });
    }
  }
  closeClipped(walk.length - 1, sinceS, walk.length);
  return doubts;
}

/** What the axis of sample `i` that reads most shows of the force: the one at its end, turned into the frame of the walk. */
function largestAxis(block: ImuBlock, walk: Walk, i: number, k: number): Vec3 {
  const [x, y, z] = vecAt(block.accelMps2, i);
  const most = Math.max(Math.abs(x), Math.abs(y), Math.abs(z));
  const axis: Vec3 = Math.abs(x) === most ? [x, 0, 0] : Math.abs(y) === most ? [0, y, 0] : [0, 0, z];
  return rotate(walk.attitude.subarray(4 * k, 4 * k + 4) as unknown as Quaternion, axis);
}

/** One standard deviation of a turn that a clipped gyroscope does not show, in the frame of the walk. */
export interface TurnDoubt {
  readonly atS: number;
  readonly turnRad: Vec3;
}

/** @returns what the gyroscope missed beyond its range on the way from `sinceS` to the walk's start, latest first. */
export function turnDoubts(block: ImuBlock, walk: Walk, from: number, sinceS: number): TurnDoubt[] {
  const doubts: TurnDoubt[] = [];
  const isClipped = (k: number) => ((block.flags[from - k] as number) & sampleFlag.gyroClipped) !== 0;
  let first = 0;
  for (let k = 1; k < walk.length; k++) {
    const over = (walk.timeS[k] as number) <= sinceS;
    if (isClipped(k) && !over) {
      if (first === 0) first = k;
      continue;
    }
    if (first > 0) {
      const lastsS = (walk.timeS[first - 1] as number) - (walk.timeS[k - 1] as number);
      const missed = beyondRange * slopeBeside(walk.spinRadps, walk.timeS, first, k) * lastsS * lastsS;
      const spin = vecAt(walk.spinRadps, Math.floor((first + k) / 2));
      doubts.push({ atS: walk.timeS[first] as number, turnRad: scale(spin, missed / Math.max(1e-9, norm(spin))) });
      first = 0;
    }
    if (over) break;
  }
  return doubts;
}

/**
 * One sigma of an accelerometer axis' sensitivity and of what it shows of its neighbours, datasheets of consumer parts. A flight, all but free
 * of force, tells nothing of it; on the way before, gravity and the hands' pushes add up to more than 10 m/s.
 */
const gainSpread = 0.004;

/**
 * What one standard deviation of each axis' sensitivity changes of the force at an entry of the walk, m/s².
 *
 * @param out three vectors, one an axis.
 */
export function gainDoubts({ attitude, forceMps2 }: Walk, k: number, out: Float64Array): void {
  const [w, x, y, z] = [attitude[4 * k], attitude[4 * k + 1], attitude[4 * k + 2], attitude[4 * k + 3]] as number[] as [
    number,
    number,
    number,
    number,
  ];
  const [fx, fy, fz] = [forceMps2[3 * k] as number, forceMps2[3 * k + 1] as number, forceMps2[3 * k + 2] as number];
  const put = (at: number, a: number, b: number, c: number): void => {
    const size = gainSpread * (a * fx + b * fy + c * fz);
    out[at] = size * a;
    out[at + 1] = size * b;
    out[at + 2] = size * c;
  };
  // The columns of the turn: where the sensor's axes point.
  put(0, 1 - 2 * (y * y + z * z), 2 * (x * y + w * z), 2 * (x * z - w * y));
  put(3, 2 * (x * y - w * z), 1 - 2 * (x * x + z * z), 2 * (y * z + w * x));
  put(6, 2 * (x * z + w * y), 2 * (y * z - w * x), 1 - 2 * (x * x + y * y));
}

/** @returns velocities at `sinceS` that the way from there to the walk's start leaves in doubt, one standard deviation each, m/s. */
export function velocityDoubts(block: ImuBlock, walk: Walk, from: number, sinceS: number): readonly Vec3[] {
  const gained = new Float64Array(9);
  const here = new Float64Array(9);
  const turns = turnDoubts(block, walk, from, sinceS);
  const turned: Vec3[] = turns.map(() => none);
  for (let k = 1; k < walk.length && (walk.timeS[k] as number) > sinceS; k++) {
    const h = (walk.timeS[k - 1] as number) - (walk.timeS[k] as number);
    gainDoubts(walk, k, here);
    for (let i = 0; i < 9; i++) gained[i] = (gained[i] as number) + h * (here[i] as number);
    for (const [i, { atS, turnRad }] of turns.entries()) {
      if ((walk.timeS[k] as number) >= atS) continue;
      turned[i] = add(turned[i] as Vec3, scale(cross(turnRad, vecAt(walk.forceMps2, k)), h));
    }
  }
  const steps = stepDoubts(block, walk, from, sinceS).map(({ velocityMps }) => velocityMps);
  return [...steps, vecAt(gained, 0), vecAt(gained, 1), vecAt(gained, 2), ...turned];
}

const none: Vec3 = [0, 0, 0];

/** How fast a vector changes just outside the entries `[from, end)`, the mean of both sides, per s. */
function slopeBeside(values: Float64Array, timeS: Float64Array, from: number, end: number): number {
  const slope = (a: number, b: number): number => {
    if (a < 0 || b >= timeS.length) return 0;
    return norm(subtract(vecAt(values, a), vecAt(values, b))) / ((timeS[a] as number) - (timeS[b] as number));
  };
  return (slope(from - 2, from - 1) + slope(end, end + 1)) / 2;
}

/** One sigma of what a blow holds beyond the range whose flanks samples do not show, m/s: as much for each of the two. */
function flankMps({ forceMps2, timeS }: Walk, from: number, end: number, lastsS: number): number {
  const isHidden = (inside: number, outside: number): boolean =>
    outside >= 0 &&
    outside < timeS.length &&
    norm(vecAt(forceMps2, outside)) < hiddenFlank.fromShare * norm(vecAt(forceMps2, inside));
  const hidden = (isHidden(from, from - 1) ? 0.5 : 0) + (isHidden(end - 1, end) ? 0.5 : 0);
  return Math.min(hiddenFlank.mostMps, hidden * beyondRange * hiddenFlank.slopeMps3 * lastsS ** 2);
}

/** One sigma of what the samples about entry `k` miss of a narrow blow, m/s; 0 where there is none. */
function narrowBlowMps(force: (k: number) => Vec3, k: number, length: number, stepS: number): number {
  if (k < 1 || k + 1 >= length) return 0;
  const here = force(k);
  const size = norm(here);
  if (size < narrowBlow.leastMps2) return 0;
  const above = norm(subtract(scale(here, 2), add(force(k - 1), force(k + 1))));
  return above > narrowBlow.narrow * size ? narrowBlow.share * above * stepS : 0;
}
