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

/** Whitens a column of 1 in one axis and 0 in the others: `out` gets the values of that axis, its others stay as they are. */
export function whitenConstant({ keep, gain, scale }: Whitening, axis: number, out: Float64Array): void {
  let x = 0;
  for (let i = 0; i < keep.length; i++) {
    x *= keep[i] as number;
    const ex = 1 - x;
    x += (gain[i] as number) * ex;
    out[3 * i + axis] = (scale[i] as number) * ex;
  }
}

const whiteRange = { fromMps2: 0.006, toMps2: 60 } as const;

/** Steps that halve the range; so many looks at the residuals at most are taken to see beforehand how most of them go. */
const halvings = 14;
const looksAhead = 6;
/** A look this far to either side of where the noise seems to lie tells it as well as the halvings do. */
const besideShare = 5e-4;

/** @returns the white noise with which the whitened residuals have the mean square that `free` degrees of freedom leave. */
export function fitWhite(residual: Float64Array, data: FlightData, slowMps2: number, free: number): number {
  // The more white noise, the smaller the squares. What was seen of two noises tells all that lie on their far sides.
  let tooLittle = 0;
  let enough = Number.POSITIVE_INFINITY;
  const look = (whiteMps2: number): number => {
    const squares = whitenedSquares(residual, data, { whiteMps2, slowMps2 });
    if (squares > free) tooLittle = Math.max(tooLittle, whiteMps2);
    else enough = Math.min(enough, whiteMps2);
    return squares;
  };
  lookAhead(look, free, () => enough <= tooLittle * (1 + 2 * besideShare));
  let low: number = whiteRange.fromMps2;
  let high: number = whiteRange.toMps2;
  for (let step = 0; step < halvings; step++) {
    const middle = Math.sqrt(low * high);
    if (middle <= tooLittle || (middle < enough && look(middle) > free)) low = middle;
    else high = middle;
  }
  return Math.sqrt(low * high);
}

/** Comes near the noise from both sides by the secant of the squares' logarithm. */
function lookAhead(look: (whiteMps2: number) => number, free: number, isNear: () => boolean): void {
  let at = Math.log(usualMps2);
  let off = Math.log(look(usualMps2) / free);
  // Squares fall with the square of the noise at most.
  let slope = -2;
  for (let k = 1; k < looksAhead && Number.isFinite(off) && !isNear(); k++) {
    const next = at - off / slope + (off > 0 ? besideShare : -besideShare);
    const nextOff = Math.log(look(Math.exp(next)) / free);
    const seen = (nextOff - off) / (next - at);
    if (seen < -0.05) slope = Math.max(-2, seen);
    at = next;
    off = nextOff;
  }
}

/** Noise from which it is looked for, m/s². */
const usualMps2 = 0.05;

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
