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

/**
 * The mean of two independent estimates of one bias, each weighted by its covariance.
 *
 * @param into receives mean and covariance; `a` and `b` stay as they were.
 */
export function combineBiases(a: GyroBiasState, b: GyroBiasState, into: GyroBiasState): void {
  const [a0, a1, a2, a3, a4, a5] = a.covariance as Six;
  const [b0, b1, b2, b3, b4, b5] = b.covariance as Six;
  const [s0, s1, s2, s3, s4, s5]: Six = [a0 + b0, a1 + b1, a2 + b2, a3 + b3, a4 + b4, a5 + b5];
  const c0 = s3 * s5 - s4 * s4;
  const c1 = s2 * s4 - s1 * s5;
  const c2 = s1 * s4 - s2 * s3;
  const c3 = s0 * s5 - s2 * s2;
  const c4 = s1 * s2 - s0 * s4;
  const c5 = s0 * s3 - s1 * s1;
  // The sum of two covariances is never singular: both have at least the walk of one step.
  const f = 1 / (s0 * c0 + s1 * c1 + s2 * c2);
  const k00 = f * (a0 * c0 + a1 * c1 + a2 * c2);
  const k01 = f * (a0 * c1 + a1 * c3 + a2 * c4);
  const k02 = f * (a0 * c2 + a1 * c4 + a2 * c5);
  const k10 = f * (a1 * c0 + a3 * c1 + a4 * c2);
  const k11 = f * (a1 * c1 + a3 * c3 + a4 * c4);
  const k12 = f * (a1 * c2 + a3 * c4 + a4 * c5);
  const k20 = f * (a2 * c0 + a4 * c1 + a5 * c2);
  const k21 = f * (a2 * c1 + a4 * c3 + a5 * c4);
  const k22 = f * (a2 * c2 + a4 * c4 + a5 * c5);
  const d0 = b.biasRadps[0]! - a.biasRadps[0]!;
  const d1 = b.biasRadps[1]! - a.biasRadps[1]!;
  const d2 = b.biasRadps[2]! - a.biasRadps[2]!;
  into.biasRadps = [
    a.biasRadps[0]! + k00 * d0 + k01 * d1 + k02 * d2,
    a.biasRadps[1]! + k10 * d0 + k11 * d1 + k12 * d2,
    a.biasRadps[2]! + k20 * d0 + k21 * d1 + k22 * d2,
  ];
  into.covariance = [
    a0 - (k00 * a0 + k01 * a1 + k02 * a2),
    a1 - (k00 * a1 + k01 * a3 + k02 * a4),
    a2 - (k00 * a2 + k01 * a4 + k02 * a5),
    a3 - (k10 * a1 + k11 * a3 + k12 * a4),
    a4 - (k10 * a2 + k11 * a4 + k12 * a5),
    a5 - (k20 * a2 + k21 * a4 + k22 * a5),
  ];
}

type Six = [number, number, number, number, number, number];
