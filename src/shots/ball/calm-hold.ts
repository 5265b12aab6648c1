import { standardGravityMps2 } from '../../foundation/constants.ts';
import type { ImuBlock } from '../../foundation/imu-block.ts';
import { conjugate, multiply, type Quaternion, rotate, stepRotation } from '../../signal/rotation.ts';
import { add, dot, norm, scale, subtract, type Vec3, vecAt } from '../../signal/vec3.ts';
import { type BallCalibration, gyroMeans } from './calibration.ts';
import type { Solution } from './shot-solution.ts';
import { middleOf } from './still-moments.ts';

/** A time in which somebody holds the ball about where it is: it trembles and turns, but goes nowhere. */
export interface CalmHold {
  /** First and last sample, within the block. */
  readonly start: number;
  readonly end: number;
  readonly lastsS: number;
  /** Scatter of the ball's speed within, m/s, about a straight line. */
  readonly scatterMps: number;
  /** Mean force, m/s², in the sensor's axes as they stood at the middle sample. */
  readonly forceMps2: Vec3;
}

/**
 * A ball that is in the hands for longer than any jump lasts, turns hardly and on the mean bears its own weight. Its hands drift by
 * `driftM` meanwhile, and change their own speed from end to end by `changeMps`, more where they tremble more. Steps shake the ball: where its
 * speed scatters by less than `standsMps` its player stands and sways, and the more it scatters the sooner he walks. Common practice, no source.
 */
const calm = {
  lengthsS: [0.8, 1.2, 1.6],
  hopS: 0.1,
  rateRadps: 3,
  weightMps2: 0.6,
  scatterMps: 0.4,
  driftM: 0.12,
  changeMps: 0.15,
  ofScatter: 0.5,
  walking: { standsMps: 0.08, swayMps: 0.06, perMps: 2, mostMps: 0.5 },
  /** What is long past says less, since the way from there gathers errors: per s. */
  perAgeS: 0.02,
} as const;

/** The sensor's attitude from a first sample on, carried by the gyroscope, and what the forces add up to in the frame it began with. */
interface Carried {
  readonly attitude: Float64Array;
  /** Integral of the force, m/s; gravity is in it as a straight line. */
  readonly speed: Float64Array;
}

function carry(block: ImuBlock, from: number, to: number, calibration: BallCalibration): Carried {
  const gyro = block.gyroRadps as Float64Array;
  const { scale: gain, biasRadps } = gyroMeans(calibration);
  const rate = (i: number): Vec3 => [
    (gyro[3 * i] as number) * (1 + gain[0]) + biasRadps[0],
    (gyro[3 * i + 1] as number) * (1 + gain[1]) + biasRadps[1],
    (gyro[3 * i + 2] as number) * (1 + gain[2]) + biasRadps[2],
  ];
  let q: Quaternion = [1, 0, 0, 0];
  let force = vecAt(block.accelMps2, from);
  let v: Vec3 = [0, 0, 0];
  const attitude = new Float64Array(4 * (to - from));
  const speed = new Float64Array(3 * (to - from));
  attitude[0] = 1;
  for (let i = from + 1; i < to; i++) {
    const h = (block.timeS[i] as number) - (block.timeS[i - 1] as number);
    q = multiply(q, stepRotation(rate(i - 1), rate(i), h));
    const next = rotate(q, vecAt(block.accelMps2, i));
    v = add(v, scale(add(force, next), h / 2));
    force = next;
    const k = i - from;
    for (let c = 0; c < 4; c++) attitude[4 * k + c] = q[c] as number;
    for (let axis = 0; axis < 3; axis++) speed[3 * k + axis] = v[axis] as number;
  }
  return { attitude, speed };
}

/** Finds the calmest such time among samples `[from, to)`; neither up nor speed need be known. */
export function findCalmHold(
  block: ImuBlock,
  from: number,
  to: number,
  stepS: number,
  calibration: BallCalibration,
): CalmHold | null {
  if ((to - from) * stepS < calm.lengthsS[0] || block.gyroRadps === null) return null;
  const timeS = (i: number) => block.timeS[i] as number;
  const carried = carry(block, from, to, calibration);
  const hop = Math.max(1, Math.round(calm.hopS / stepS));
  let best: CalmHold | null = null;
  let least = Number.POSITIVE_INFINITY;
  for (const lengthS of calm.lengthsS) {
    const n = Math.round(lengthS / stepS);
    for (let end = to - 1; end - n >= from; end -= hop) {
      const here = describe(block, carried, from, end - n, end);
      if (!here) continue;
      const score = speedDoubt(here) + calm.perAgeS * (timeS(to - 1) - timeS(end));
      if (score >= least) continue;
      [best, least] = [here, score];
    }
  }
  return best;
}

function describe(block: ImuBlock, carried: Carried, from: number, start: number, end: number): CalmHold | null {
  const { timeS } = block;
  const { speed } = carried;
  const gyro = block.gyroRadps as Float64Array;
  const startS = timeS[start] as number;
  const lastsS = (timeS[end] as number) - startS;
  const v0 = vecAt(speed, start - from);
  const force = scale(subtract(vecAt(speed, end - from), v0), 1 / lastsS);
  if (Math.abs(norm(force) - standardGravityMps2) > calm.weightMps2) return null;
  // Written out in scalars: a ball that is held is looked at hundreds of times.
  const [vx, vy, vz] = v0;
  const [fx, fy, fz] = force;
  let [n, rate, squares] = [0, 0, 0];
  let [sx, sy, sz] = [0, 0, 0];
  for (let i = start; i <= end; i++) {
    const k = 3 * (i - from);
    const sinceS = (timeS[i] as number) - startS;
    const x = (speed[k] as number) - vx - fx * sinceS;
    const y = (speed[k + 1] as number) - vy - fy * sinceS;
    const z = (speed[k + 2] as number) - vz - fz * sinceS;
    sx += x;
    sy += y;
    sz += z;
    squares += x * x + y * y + z * z;
    const wx = gyro[3 * i] as number;
    const wy = gyro[3 * i + 1] as number;
    const wz = gyro[3 * i + 2] as number;
    rate += Math.sqrt(wx * wx + wy * wy + wz * wz);
    n++;
  }
  const scatterMps = Math.sqrt(Math.max(0, squares / n - (sx * sx + sy * sy + sz * sz) / (n * n)));
  if (rate / n > calm.rateRadps || scatterMps > calm.scatterMps) return null;
  const at = 4 * (middleOf({ start, end }) - from);
  const middle = carried.attitude.subarray(at, at + 4) as unknown as Quaternion;
  return { start, end, lastsS, scatterMps, forceMps2: rotate(conjugate(middle), force) };
}

/** One sigma of gravity as the mean force tells it, m/s². */
export function weightDoubt({ lastsS, scatterMps }: CalmHold): number {
  return Math.hypot(calm.changeMps, scatterMps) / lastsS;
}

/** One sigma of the ball's mean speed upward, m/s. */
function speedDoubt({ lastsS, scatterMps }: CalmHold): number {
  return Math.hypot(calm.driftM / lastsS, calm.ofScatter * scatterMps);
}

/** One sigma of the level speed of who holds it, m/s. */
function walkingDoubt({ scatterMps }: CalmHold): number {
  const { standsMps, swayMps, perMps, mostMps } = calm.walking;
  return Math.min(mostMps, swayMps + perMps * Math.max(0, scatterMps - standsMps));
}

/** What is heard twice counts so much less, in standard deviations. */
const heardBefore = 1.2;

/** Mean velocity over such a time and mean change of it, along forward, left and up, which should be zero; none where the walk does not reach it. */
export function restOf(
  { walk, axes }: Solution,
  walkFrom: number,
  hold: CalmHold,
): readonly { readonly value: number; readonly standardDeviation: number; readonly axis: keyof typeof axes }[] {
  const [late, early] = [walkFrom - hold.end, walkFrom - hold.start];
  if (late < 0 || early >= walk.length) return [];
  const moved = scale(subtract(vecAt(walk.positionM, late), vecAt(walk.positionM, early)), 1 / hold.lastsS);
  const changed = scale(subtract(vecAt(walk.velocityMps, late), vecAt(walk.velocityMps, early)), 1 / hold.lastsS);
  const upward = speedDoubt(hold);
  const level = Math.hypot(upward, walkingDoubt(hold));
  // The flight's fit has heard of gravity from there, by the gyroscope as far as it was known then.
  const weight = heardBefore * weightDoubt(hold);
  return (['forward', 'left', 'up'] as const).flatMap((axis) => [
    { value: dot(moved, axes[axis]), standardDeviation: axis === 'up' ? upward : level, axis },
    { value: dot(changed, axes[axis]), standardDeviation: weight, axis },
  ]);
}
