import type { FlightData } from './flight-data.ts';

/** Noise of an accelerometer axis: from sample to sample, and beside it a part that keeps its sign for a while. */
export interface SensorNoise {
  /** Standard deviation of one raw sample, m/s². */
  readonly whiteMps2: number;
  /** Standard deviation of the slow part, m/s²; its memory fades with `slowTimeS`. */
  readonly slowMps2: number;
}

/**
 * Memory of the slow part, s. What lasts longer than a flight is a bias, what is much shorter is white: a third of a flight stands for
 * everything between (flicker noise has all of it).
 */
export const slowTimeS = 0.3;

/** The sizes of the slow part that are weighed against each other, m/s². */
export const slowSizesMps2 = [0, 0.005, 0.01, 0.02, 0.04] as const;

/** Turns residuals with slow noise into independent ones of unit variance. */
export interface Whitening {
  /** Share of the slow part that is left from the sample before, n. */
  readonly keep: Float64Array;
  /** Share of a surprise that is taken for slow noise, n. */
  readonly gain: Float64Array;
  /** One over the standard deviation of a surprise, n; 0 where a sample does not count. */
  readonly scale: Float64Array;
  /** Logarithm of the determinant of the covariance of all three axes. */
  readonly logDeterminant: number;
}

const kept = new WeakMap<FlightData, Float64Array>();

/** Share of the slow part left from the sample before: the same for all noises of one flight. */
function keptShares(data: FlightData): Float64Array {
  let keep = kept.get(data);
  if (!keep) {
    keep = new Float64Array(data.length);
    for (let i = 1; i < data.length; i++) {
      keep[i] = Math.exp(-((data.timeS[i] as number) - (data.timeS[i - 1] as number)) / slowTimeS);
    }
    kept.set(data, keep);
  }
  return keep;
}

/** Sum of squares of the residuals that `whiten` with `whitening` would give. */
function whitenedSquares(residual: Float64Array, data: FlightData, { whiteMps2, slowMps2 }: SensorNoise): number {
  const keep = keptShares(data);
  const slow = slowMps2 * slowMps2;
  const white = whiteMps2 * whiteMps2;
  let variance = slow;
  let [x, y, z] = [0, 0, 0];
  let squares = 0;
  for (let i = 0; i < data.length; i++) {
    const left = keep[i] as number;
    if (i > 0) variance = left * left * variance + slow * (1 - left * left);
    x *= left;
    y *= left;
    z *= left;
    const j = 3 * i;
    const weight = data.weight[j] as number;
    if (weight === 0) continue;
    const surprise = variance + white / weight;
    const gain = variance / surprise;
    const ex = (residual[j] as number) - x;
    const ey = (residual[j + 1] as number) - y;
    const ez = (residual[j + 2] as number) - z;
    x += gain * ex;
    y += gain * ey;
    z += gain * ez;
    squares += (ex * ex + ey * ey + ez * ez) / surprise;
    variance *= 1 - gain;
  }
  return squares;
}

/**
 * Innovations form of white noise plus a first-order Gauss-Markov process (Kalman 1960, J. Basic Eng. 82:35, for one state).
 */
export function whitening(data: FlightData, noise: SensorNoise): Whitening {
  const n = data.length;
  const keep = keptShares(data);
  const gain = new Float64Array(n);
  const scale = new Float64Array(n);
  const slow = noise.slowMps2 * noise.slowMps2;
  const white = noise.whiteMps2 * noise.whiteMps2;
  let variance = slow;
  let logDeterminant = 0;
  for (let i = 0; i < n; i++) {
    if (i > 0) {
      const left = keep[i] as number;
      variance = left * left * variance + slow * (1 - left * left);
    }
    const weight = data.weight[3 * i] as number;
    if (weight === 0) continue;
    const surprise = variance + white / weight;
    gain[i] = variance / surprise;
    scale[i] = 1 / Math.sqrt(surprise);
    logDeterminant += 3 * Math.log(surprise);
    variance *= 1 - variance / surprise;
  }
  return { keep, gain, scale, logDeterminant };
}

/** Whitens a column of 3n values; `out` may be the column itself. */
export function whiten(column: Float64Array, { keep, gain, scale }: Whitening, out: Float64Array): void {
  const n = keep.length;
  let x = 0;
  let y = 0;
  let z = 0;
  for (let i = 0; i < n; i++) {
    const k = keep[i] as number;
    const g = gain[i] as number;
    const s = scale[i] as number;
    const j = 3 * i;
    x *= k;
    y *= k;
    z *= k;
    const ex = (column[j] as number) - x;
    const ey = (column[j + 1] as number) - y;
    const ez = (column[j + 2] as number) - z;
    x += g * ex;
    y += g * ey;
    z += g * ez;
    out[j] = s * ex;
    out[j + 1] = s * ey;
    out[j + 2] = s * ez;
  }
}

const whiteRange = { fromMps2: 0.006, toMps2: 60 } as const;

/** @returns the white noise with which the whitened residuals have the mean square that `free` degrees of freedom leave. */
export function fitWhite(residual: Float64Array, data: FlightData, slowMps2: number, free: number): number {
  let low: number = whiteRange.fromMps2;
  let high: number = whiteRange.toMps2;
  for (let step = 0; step < 14; step++) {
    const middle = Math.sqrt(low * high);
    if (whitenedSquares(residual, data, { whiteMps2: middle, slowMps2 }) > free) low = middle;
    else high = middle;
  }
  return Math.sqrt(low * high);
}

/** @returns root mean square of the slow part for weights of `slowSizesMps2`, m/s². */
export function meanSlow(weights: readonly number[]): number {
  return Math.sqrt(weights.reduce((sum, w, k) => sum + w * (slowSizesMps2[k] as number) ** 2, 0));
}

/** Bayes' rule for weights that sum to 1. */
export function posteriorWeights(weights: readonly number[], logLikelihood: readonly number[]): number[] {
  const largest = Math.max(...logLikelihood);
  if (!Number.isFinite(largest)) return [...weights];
  const product = weights.map((w, k) => w * Math.exp((logLikelihood[k] as number) - largest));
  const sum = product.reduce((a, b) => a + b, 0);
  return product.map((w) => w / sum);
}
