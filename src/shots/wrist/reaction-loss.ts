import { ramp } from '../ball/edge-shapes.ts';

/**
 * The instant at which the ball's reaction on the arm is lost.
 *
 * While the fingers push the ball it pushes back; as they let go, the arm's acceleration along the push steps up by what the
 * ball had taken, over the last contact of the fingers. About every instant of a grid the samples are explained twice: by a
 * smooth arm (a parabola over the window), and by that with a step. The step is a ramp of one of several lengths, through the
 * sensor's filter, that ends at the instant; its size is free but not negative. What the step explains better, together with
 * what is known beforehand, gives the probability of each instant (Bayes, likelihood ratio of nested linear models whose common
 * variance is not known).
 *
 * Deviations: 1. neighbouring samples miss alike (skin, filter), so that the ratio counts by `trust`; 2. samples miss at least by a
 * share of their range, since arms are no parabolas.
 */
export interface ReactionSamples {
  readonly timeS: readonly number[];
  /** Acceleration along the push, m/s². */
  readonly alongMps2: readonly number[];
  /** Delay of the sensor's filter; the instant is on the delayed time. */
  readonly filterDelayS: number;
}

export interface ReactionModel {
  readonly windowS: number;
  readonly missShare: number;
  readonly trust: number;
  /** Logarithm of the probability of an instant before the samples are looked at, up to a constant. */
  readonly logPrior: (timeS: number) => number;
}

/** Lengths of the last contact, s. */
const fadesS = [0.006, 0.012, 0.02, 0.03] as const;
const gridS = 0.001;
const leastSamples = 5;
/** A window holds at least this many sample intervals on either side. */
const leastSteps = 2.6;
/** Miss of a quiet sensor, m/s². */
const leastMissMps2 = 0.5;
/** Beyond this a likelihood says no more. */
const mostGain = 40;

/**
 * @param fromS earliest instant.
 * @param toS latest instant.
 * @returns mean and standard deviation of the instant, or null where too few samples are about.
 */
export function estimateReactionLoss(
  samples: ReactionSamples,
  fromS: number,
  toS: number,
  model: ReactionModel,
): { readonly timeS: number; readonly errorS: number } | null {
  const { timeS } = samples;
  const n = timeS.length;
  if (n < leastSamples) return null;
  const stepS = ((timeS[n - 1] as number) - (timeS[0] as number)) / (n - 1);
  const halfS = Math.max(model.windowS, leastSteps * stepS);
  const instants: number[] = [];
  const logs: number[] = [];
  for (let t = fromS; t <= toS; t += gridS) {
    const gain = logGain(samples, t, halfS, model);
    if (gain === null) continue;
    instants.push(t);
    logs.push(gain + model.logPrior(t));
  }
  if (instants.length === 0) return null;
  const most = logs.reduce((a, b) => Math.max(a, b));
  let [sum, mean, square] = [0, 0, 0];
  instants.forEach((t, k) => {
    const weight = Math.exp((logs[k] as number) - most);
    sum += weight;
    mean += weight * (t - fromS);
    square += weight * (t - fromS) ** 2;
  });
  mean /= sum;
  return { timeS: fromS + mean, errorS: Math.sqrt(Math.max(0, square / sum - mean * mean)) };
}

/** Logarithm of how much better the samples about an instant are explained by a loss of force there. */
function logGain(
  { timeS, alongMps2, filterDelayS }: ReactionSamples,
  instantS: number,
  halfS: number,
  { missShare, trust }: ReactionModel,
): number | null {
  const at: number[] = [];
  const y: number[] = [];
  let [lowest, highest] = [Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY];
  timeS.forEach((t, i) => {
    if (Math.abs(t - instantS) > halfS) return;
    const value = alongMps2[i] as number;
    at.push(t - instantS);
    y.push(value);
    lowest = Math.min(lowest, value);
    highest = Math.max(highest, value);
  });
  if (at.length < leastSamples) return null;
  const smooth = orthonormal(at.map((t) => t / halfS));
  clear(y, smooth);
  const least = at.length * (missShare * (highest - lowest) + leastMissMps2) ** 2;
  const without = dot(y, y) + least;
  let sum = 0;
  for (const fadeS of fadesS) {
    const shape = at.map((t) => (ramp(t + fadeS, filterDelayS) - ramp(t, filterDelayS)) / fadeS);
    clear(shape, smooth);
    const size = dot(shape, y);
    const square = dot(shape, shape);
    const explained = size > 0 && square > 1e-9 ? (size * size) / square : 0;
    const gain = 0.5 * trust * at.length * Math.log(without / (without - explained));
    sum += Math.exp(Math.min(mostGain, gain));
  }
  return Math.log(sum / fadesS.length);
}

/** @returns constant, slope and bend over these places as orthonormal columns (Gram and Schmidt). */
function orthonormal(places: readonly number[]): number[][] {
  const columns: number[][] = [];
  for (let power = 0; power < 3; power++) {
    const column = places.map((x) => x ** power);
    clear(column, columns);
    const size = Math.sqrt(dot(column, column));
    if (size < 1e-9) break;
    columns.push(column.map((v) => v / size));
  }
  return columns;
}

/** Takes out of a column what orthonormal ones explain; changes it. */
function clear(column: number[], by: readonly (readonly number[])[]): void {
  for (const other of by) {
    const share = dot(column, other);
    for (let i = 0; i < column.length; i++) column[i] = (column[i] as number) - share * (other[i] as number);
  }
}

function dot(a: readonly number[], b: readonly number[]): number {
  let sum = 0;
  for (let i = 0; i < a.length; i++) sum += (a[i] as number) * (b[i] as number);
  return sum;
}
