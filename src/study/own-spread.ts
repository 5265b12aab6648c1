import { type Insufficient, insufficient, requireBetween, requireFinite, requireSameLength } from './checks.ts';
import { mean, variance } from './descriptive.ts';
import { chiSquaredQuantile } from './gamma-function.ts';
import type { Interval } from './proportion-interval.ts';

export interface OwnSpread {
  readonly kind: 'spread';
  /** Spread of the player alone, in the values' unit; 0 where the sensor's error explains all of it. */
  readonly spread: number;
  readonly interval: Interval;
  /** Spread as measured, and root mean square of the sensor's own errors. */
  readonly measuredSpread: number;
  readonly sensorError: number;
}

/**
 * A player's spread with the sensor's own error taken out: variance as measured less the mean squared standard error, its
 * interval that of the measured variance (chi-squared) less the same; for independent values.
 */
export function ownSpread(
  values: ArrayLike<number>,
  standardErrors: ArrayLike<number>,
  confidence = 0.9,
): OwnSpread | Insufficient {
  requireSameLength('values and their errors', values, standardErrors);
  requireFinite('values', values);
  requireFinite('standardErrors', standardErrors);
  requireBetween('confidence', confidence, 0, 1);
  const n = values.length;
  if (n < 3) return insufficient('a spread needs three values');
  const all = variance(values);
  const sensor = mean(Float64Array.from(standardErrors, (error) => error * error));
  const root = (square: number) => Math.sqrt(Math.max(0, square - sensor));
  const tail = (1 - confidence) / 2;
  return Object.freeze({
    kind: 'spread',
    spread: root(all),
    interval: [
      root(((n - 1) * all) / chiSquaredQuantile(1 - tail, n - 1)),
      root(((n - 1) * all) / chiSquaredQuantile(tail, n - 1)),
    ] as const,
    measuredSpread: Math.sqrt(all),
    sensorError: Math.sqrt(sensor),
  });
}
