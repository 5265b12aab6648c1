import type { ImuBlock } from '../../src/foundation/imu-block.ts';

/** Attitude and place of a body as functions of time, from which exact sensor readings follow by differences. */
export interface MadeMotion {
  /** Sensor to world (z up), rows of the matrix. */
  readonly sensorToWorld: (timeS: number) => number[][];
  /** Acceleration in the world, m/s². */
  readonly accelMps2: (timeS: number) => readonly [number, number, number];
}

const g = 9.80665;

/** @returns the matrix of a turn by `angleRad` about an axis of length 1. */
export function turnMatrix(axis: readonly [number, number, number], angleRad: number): number[][] {
  const [x, y, z] = axis;
  const c = Math.cos(angleRad);
  const s = Math.sin(angleRad);
  const d = 1 - c;
  return [
    [c + d * x * x, d * x * y - s * z, d * x * z + s * y],
    [d * x * y + s * z, c + d * y * y, d * y * z - s * x],
    [d * x * z - s * y, d * y * z + s * x, c + d * z * z],
  ];
}

export function matrixProduct(a: readonly number[][], b: readonly number[][]): number[][] {
  return a.map((row) => [0, 1, 2].map((j) => row.reduce((sum, value, k) => sum + value * b[k]![j]!, 0)));
}

/**
 * Readings of a perfect sensor on the body. The rate comes from the matrix by a central difference of 20 µs, so it
 * shares no code with the filter.
 */
export function senseMotion(
  motion: MadeMotion,
  rateHz: number,
  durationS: number,
  errors: {
    gyroBiasRadps?: readonly [number, number, number];
    accelBiasMps2?: readonly [number, number, number];
    noise?: () => number;
    gyroNoiseRadps?: number;
    accelNoiseMps2?: number;
  } = {},
): ImuBlock {
  const length = Math.round(durationS * rateHz);
  const timeS = new Float64Array(length);
  const accelMps2 = new Float64Array(3 * length);
  const gyroRadps = new Float64Array(3 * length);
  const { gyroBiasRadps = [0, 0, 0], accelBiasMps2 = [0, 0, 0], noise = () => 0 } = errors;
  const h = 1e-5;
  for (let i = 0; i < length; i++) {
    const t = i / rateHz;
    timeS[i] = t;
    const now = motion.sensorToWorld(t);
    const before = motion.sensorToWorld(t - h);
    const after = motion.sensorToWorld(t + h);
    const rate = (row: number, column: number) =>
      [0, 1, 2].reduce((sum, k) => sum + now[k]![row]! * (after[k]![column]! - before[k]![column]!), 0) / (2 * h);
    const rates = [rate(2, 1), rate(0, 2), rate(1, 0)];
    const a = motion.accelMps2(t);
    for (let k = 0; k < 3; k++) {
      gyroRadps[3 * i + k] = rates[k]! + gyroBiasRadps[k]! + (errors.gyroNoiseRadps ?? 0) * noise();
      const force = now[0]![k]! * a[0] + now[1]![k]! * a[1] + now[2]![k]! * (a[2] + g);
      accelMps2[3 * i + k] = force + accelBiasMps2[k]! + (errors.accelNoiseMps2 ?? 0) * noise();
    }
  }
  return { length, timeS, accelMps2, gyroRadps, flags: new Uint8Array(length) };
}

/** @returns the angle between the true and the estimated direction of gravity in the sensor, rad. */
export function inclinationErrorRad(sensorToWorld: readonly number[], truth: readonly number[][]): number {
  const [w, x, y, z] = sensorToWorld as [number, number, number, number];
  const up = [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)];
  const true_ = truth[2]!;
  const cross = Math.hypot(
    up[1]! * true_[2]! - up[2]! * true_[1]!,
    up[2]! * true_[0]! - up[0]! * true_[2]!,
    up[0]! * true_[1]! - up[1]! * true_[0]!,
  );
  return Math.atan2(cross, up[0]! * true_[0]! + up[1]! * true_[1]! + up[2]! * true_[2]!);
}

/** Repeatable normal numbers for tests (Box and Muller 1958 on a 32-bit linear congruential sequence). */
export function madeNoise(seed: number): () => number {
  let state = seed >>> 0;
  const next = () => {
    state = (Math.imul(state, 1_664_525) + 1_013_904_223) >>> 0;
    return (state + 0.5) / 2 ** 32;
  };
  return () => Math.sqrt(-2 * Math.log(next())) * Math.cos(2 * Math.PI * next());
}
