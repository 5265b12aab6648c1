import type { GyroBiasState } from './attitude-state.ts';

/**
 * Kalman filter of a gyroscope's bias: a random walk seen through one component at a time.
 *
 * Numerically plain because each measurement is a scalar and the covariance 3 × 3 (Bierman 1977, Factorization Methods
 * for Discrete Sequential Estimation, chapter II, for the sequential use of scalars).
 */

/** Lets the variance grow over a step; it never exceeds `limit`. */
export function growBias(state: GyroBiasState, variance: number, limit: number): void {
  const p = state.covariance;
  p[0] = Math.min(p[0]! + variance, limit);
  p[3] = Math.min(p[3]! + variance, limit);
  p[5] = Math.min(p[5]! + variance, limit);
}

/**
 * Takes one measurement `h · bias = … + noise`; changes `state`.
 *
 * @param innovation measured minus expected, rad/s.
 * @param noiseVariance (rad/s)².
 */
export function measureBias(
  state: GyroBiasState,
  hx: number,
  hy: number,
  hz: number,
  innovation: number,
  noiseVariance: number,
): void {
  const p = state.covariance;
  const b = state.biasRadps;
  const x = p[0]! * hx + p[1]! * hy + p[2]! * hz;
  const y = p[1]! * hx + p[3]! * hy + p[4]! * hz;
  const z = p[2]! * hx + p[4]! * hy + p[5]! * hz;
  const spread = hx * x + hy * y + hz * z + noiseVariance;
  const gain = innovation / spread;
  b[0] = b[0]! + x * gain;
  b[1] = b[1]! + y * gain;
  b[2] = b[2]! + z * gain;
  p[0] = p[0]! - (x * x) / spread;
  p[1] = p[1]! - (x * y) / spread;
  p[2] = p[2]! - (x * z) / spread;
  p[3] = p[3]! - (y * y) / spread;
  p[4] = p[4]! - (y * z) / spread;
  p[5] = p[5]! - (z * z) / spread;
}

/** @returns the variance of the bias along a unit direction of the sensor, (rad/s)². */
export function biasVarianceAlong(state: GyroBiasState, x: number, y: number, z: number): number {
  const p = state.covariance;
  return p[0]! * x * x + p[3]! * y * y + p[5]! * z * z + 2 * (p[1]! * x * y + p[2]! * x * z + p[4]! * y * z);
}
