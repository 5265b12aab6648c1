import { type ParametersOf, type ParameterTable, resolveParams } from '../foundation/parameters.ts';

/** Parameters of the exponentially weighted moving average. */
export const ewmaParams = {
  weight: {
    default: 0.2,
    unit: '',
    min: 0.01,
    max: 1,
    meaning: 'share of the newest value in the average',
    small: 'finds small shifts, late',
    large: 'finds large shifts at once, small ones not at all',
    source: 'Lucas and Saccucci 1990, Technometrics 32:1',
  },
  limitSds: {
    default: 2.86,
    unit: '',
    min: 0.5,
    max: 10,
    meaning: 'distance of the limits from the target, in standard deviations of the average',
    small: 'more false alarms',
    large: 'later alarms',
    source: 'Lucas and Saccucci 1990: one false alarm in 370 values with weight 0.2',
  },
} satisfies ParameterTable;

export interface EwmaCoefficients extends ParametersOf<typeof ewmaParams> {
  /** Level that is expected, and the standard deviation of single values about it, in their unit. */
  readonly target: number;
  readonly standardDeviation: number;
}

export interface EwmaState {
  readonly count: number;
  readonly average: number;
}

export interface EwmaPoint extends EwmaState {
  readonly low: number;
  readonly high: number;
  readonly signal: boolean;
}

export function deriveEwma(
  target: number,
  standardDeviation: number,
  given: { readonly [Name in keyof typeof ewmaParams]?: number } = {},
): EwmaCoefficients {
  return Object.freeze({ ...resolveParams(ewmaParams, given), target, standardDeviation });
}

export function initialEwma({ target }: EwmaCoefficients): EwmaState {
  return { count: 0, average: target };
}

/** One value further (Roberts 1959, Technometrics 1:239; limits that widen from the start: Montgomery 2009, equation 9.25; from memory). */
export function stepEwma(coefficients: EwmaCoefficients, state: EwmaState, value: number): EwmaPoint {
  const { weight, limitSds, target, standardDeviation } = coefficients;
  const count = state.count + 1;
  const average = weight * value + (1 - weight) * state.average;
  const half = limitSds * standardDeviation * Math.sqrt((weight / (2 - weight)) * (1 - (1 - weight) ** (2 * count)));
  return { count, average, low: target - half, high: target + half, signal: Math.abs(average - target) > half };
}

/** @returns the limits after many values. */
export function ewmaLimits(coefficients: EwmaCoefficients): readonly [number, number] {
  const { weight, limitSds, target, standardDeviation } = coefficients;
  const half = limitSds * standardDeviation * Math.sqrt(weight / (2 - weight));
  return [target - half, target + half];
}
