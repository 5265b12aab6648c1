import { requireFinite, requireWithin } from './checks.ts';

/** @returns the arithmetic mean, corrected once by the mean of the residuals so that large offsets cost no digits. */
export function mean(values: ArrayLike<number>): number {
  const n = values.length;
  let sum = 0;
  for (let i = 0; i < n; i++) sum += values[i]!;
  const first = sum / n;
  let rest = 0;
  for (let i = 0; i < n; i++) rest += values[i]! - first;
  return first + rest / n;
}

/** @returns the sum of squared deviations from the mean (corrected two-pass; Chan, Golub and LeVeque 1983). */
export function sumOfSquares(values: ArrayLike<number>): number {
  const middle = mean(values);
  let squares = 0;
  let rest = 0;
  for (let i = 0; i < values.length; i++) {
    const deviation = values[i]! - middle;
    squares += deviation * deviation;
    rest += deviation;
  }
  return squares - (rest * rest) / Math.max(1, values.length);
}

/** @returns the variance with n - 1; 0 for fewer than two values. */
export function variance(values: ArrayLike<number>): number {
  return values.length < 2 ? 0 : sumOfSquares(values) / (values.length - 1);
}

/** @returns the standard deviation with n - 1. */
export function standardDeviation(values: ArrayLike<number>): number {
  return Math.sqrt(variance(values));
}

/** @returns the lag-1 autocorrelation about the mean of all values; 0 where nothing varies. */
export function lagOneCorrelation(values: ArrayLike<number>): number {
  const middle = mean(values);
  let [across, all] = [0, 0];
  for (let i = 0; i < values.length; i++) {
    const deviation = values[i]! - middle;
    all += deviation * deviation;
    if (i > 0) across += deviation * (values[i - 1]! - middle);
  }
  return all > 0 ? across / all : 0;
}

/** @returns the quantile with linear interpolation between order statistics (Hyndman and Fan 1996, type 7; from memory). */
export function quantile(values: ArrayLike<number>, share: number): number {
  requireFinite('values', values);
  requireWithin('share', share, 0, 1);
  const sorted = Float64Array.from(values).sort();
  const at = share * (sorted.length - 1);
  const low = Math.floor(at);
  const high = Math.min(low + 1, sorted.length - 1);
  return sorted[low]! + (at - low) * (sorted[high]! - sorted[low]!);
}

export function median(values: ArrayLike<number>): number {
  return quantile(values, 0.5);
}

/**
 * Median of values that are not equally sure: where the weights, each half before and half after its value, come to half of all, with
 * linear interpolation. Equal weights give the median.
 *
 * @param weights one a value, above 0.
 */
export function weightedMedian(values: ArrayLike<number>, weights: ArrayLike<number>): number {
  requireFinite('values', values);
  const order = Array.from(values, (_, i) => i).sort((a, b) => values[a]! - values[b]!);
  const half = order.reduce((sum, i) => sum + weights[i]!, 0) / 2;
  let before = 0;
  let last: { readonly at: number; readonly value: number } | null = null;
  for (const i of order) {
    const at = before + weights[i]! / 2;
    const value = values[i]!;
    if (at >= half)
      return last === null ? value : last.value + ((half - last.at) / (at - last.at)) * (value - last.value);
    before += weights[i]!;
    last = { at, value };
  }
  return last?.value ?? Number.NaN;
}

/**
 * Robust spread: median absolute deviation from the median times 1.4826, which makes it the standard deviation of a
 * normal distribution (Hampel 1974, J. Am. Stat. Assoc. 69:383; from memory).
 */
export function robustSpread(values: ArrayLike<number>): number {
  const middle = median(values);
  return 1.482602218505602 * median(Float64Array.from(values, (value) => Math.abs(value - middle)));
}

/**
 * Mean without the outermost share on either side, and its standard error from the winsorised variance (Tukey and
 * McLaughlin 1963, Sankhyā A 25:331), for independent values.
 *
 * @param share cut off on either side, 0 to 0.4.
 */
export function trimmedMean(
  values: ArrayLike<number>,
  share: number,
): { readonly mean: number; readonly standardError: number; readonly kept: number } {
  requireWithin('share', share, 0, 0.4);
  const sorted = Float64Array.from(values).sort();
  const n = sorted.length;
  const cut = Math.floor(share * n);
  const kept = n - 2 * cut;
  const middle = mean(sorted.subarray(cut, n - cut));
  for (let i = 0; i < cut; i++) {
    sorted[i] = sorted[cut]!;
    sorted[n - 1 - i] = sorted[n - 1 - cut]!;
  }
  const standardError = kept > 1 ? Math.sqrt((variance(sorted) * (n - 1)) / (kept * (kept - 1))) : 0;
  return { mean: middle, standardError, kept };
}
