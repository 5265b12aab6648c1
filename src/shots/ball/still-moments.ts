import type { RestReference } from '../../flight/flight-fit.ts';
import { standardGravityMps2 } from '../../foundation/constants.ts';
import type { ImuBlock } from '../../foundation/imu-block.ts';
import { conjugate, multiply, type Quaternion, stepRotation } from '../../signal/rotation.ts';
import { norm, type Vec3 } from '../../signal/vec3.ts';
import { type BallCalibration, gyroMeans } from './calibration.ts';

/** A stretch in which the ball hardly moves: the accelerometer reads gravity and its bias. */
export interface StillMoment {
  readonly start: number;
  readonly end: number;
  readonly forceMps2: Vec3;
  readonly rateRadps: Vec3;
  /** Scatter of the force within, m/s². */
  readonly scatterMps2: number;
}

const window = { lengthS: 0.3, stepS: 0.1, scatterMps2: 0.6, rateRadps: 0.8, levelMps2: 0.9 } as const;

/**
 * Finds the stillest window of 0.3 s in `[from, to)` of a block, or null where nothing was still enough.
 */
export function findStillMoment(block: ImuBlock, from: number, to: number, stepS: number): StillMoment | null {
  const n = Math.max(6, Math.round(window.lengthS / stepS));
  const hop = Math.max(1, Math.round(window.stepS / stepS));
  let best: StillMoment | null = null;
  for (let end = to; end - n >= from; end -= hop) {
    const start = end - n;
    const here = describe(block, start, end);
    if (!here) continue;
    if (!best || here.scatterMps2 < best.scatterMps2) best = here;
  }
  return best;
}

function describe(block: ImuBlock, start: number, end: number): StillMoment | null {
  const gyro = block.gyroRadps;
  const n = end - start;
  const { accelMps2 } = block;
  let [fx, fy, fz, square] = [0, 0, 0, 0];
  for (let j = 3 * start; j < 3 * end; j += 3) {
    const x = accelMps2[j] as number;
    const y = accelMps2[j + 1] as number;
    const z = accelMps2[j + 2] as number;
    fx += x / n;
    fy += y / n;
    fz += z / n;
    square += (x * x) / n;
    square += (y * y) / n;
    square += (z * z) / n;
  }
  let [wx, wy, wz] = [0, 0, 0];
  for (let j = 3 * start; gyro && j < 3 * end; j += 3) {
    wx += (gyro[j] as number) / n;
    wy += (gyro[j + 1] as number) / n;
    wz += (gyro[j + 2] as number) / n;
  }
  const f: Vec3 = [fx, fy, fz];
  const w: Vec3 = [wx, wy, wz];
  const mean2 = f[0] * f[0] + f[1] * f[1] + f[2] * f[2];
  const scatterMps2 = Math.sqrt(Math.max(0, square - mean2));
  if (scatterMps2 > window.scatterMps2 || norm(w) > window.rateRadps) return null;
  if (Math.abs(Math.sqrt(mean2) - standardGravityMps2) > window.levelMps2) return null;
  return { start, end, forceMps2: f, rateRadps: w, scatterMps2 };
}

/** Middle sample of a stretch. */
export function middleOf({ start, end }: { readonly start: number; readonly end: number }): number {
  return Math.floor((start + end) / 2);
}

/** One sigma of gravity as a still moment tells it, m/s². */
export function stillDoubt({ scatterMps2 }: StillMoment): number {
  return 0.06 + 0.4 * scatterMps2;
}

/**
 * Carries the weight of a ball that somebody holds to a later instant by the gyroscope.
 *
 * @param held stretch and mean force, in the sensor's axes at its middle.
 * @param doubtMps2 one sigma of that force as gravity's.
 * @param toS instant of the frozen frame.
 */
export function carryStill(
  block: ImuBlock,
  held: { readonly start: number; readonly end: number; readonly forceMps2: Vec3 },
  doubtMps2: number,
  toS: number,
  calibration: BallCalibration,
): RestReference | null {
  const gyro = block.gyroRadps;
  if (!gyro) return null;
  const { scale: gain, biasRadps } = gyroMeans(calibration);
  const rate = (i: number): Vec3 => [
    (gyro[3 * i] as number) * (1 + gain[0]) + biasRadps[0],
    (gyro[3 * i + 1] as number) * (1 + gain[1]) + biasRadps[1],
    (gyro[3 * i + 2] as number) * (1 + gain[2]) + biasRadps[2],
  ];
  const middle = middleOf(held);
  let q: Quaternion = [1, 0, 0, 0];
  let turned = 0;
  let i = middle;
  for (; i + 1 < block.length && (block.timeS[i + 1] as number) <= toS; i++) {
    const h = (block.timeS[i + 1] as number) - (block.timeS[i] as number);
    q = multiply(q, stepRotation(rate(i), rate(i + 1), h));
    turned += norm(rate(i)) * h;
  }
  const rest = toS - (block.timeS[i] as number);
  q = multiply(q, stepRotation(rate(i), rate(i), rest));
  const elapsedS = toS - (block.timeS[middle] as number);
  const variance = calibration.gyro.covariance;
  const drift =
    Math.sqrt((turned * Math.sqrt(variance.get(0, 0))) ** 2 + (elapsedS * Math.sqrt(variance.get(3, 3))) ** 2) +
    0.003 * turned;
  return {
    forceMps2: held.forceMps2,
    restToReference: conjugate(q),
    standardDeviationMps2: Math.hypot(doubtMps2, standardGravityMps2 * drift),
  };
}
