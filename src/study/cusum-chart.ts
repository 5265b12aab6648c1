import { type ParametersOf, type ParameterTable, resolveParams } from '../foundation/parameters.ts';

/** Parameters of the two-sided cumulative sum, in standard deviations of single values. */
export const cusumParams = {
  allowance: {
    default: 0.5,
    unit: '',
    min: 0,
    max: 5,
    meaning: 'deviation that is let pass at each value: half the shift to be found',
    small: 'finds small shifts, with more false alarms',
    large: 'finds only large shifts',
    source: 'Montgomery 2009, Introduction to Statistical Quality Control, section 9.1',
  },
  threshold: {
    default: 5,
    unit: '',
    min: 0.1,
    max: 50,
    meaning: 'sum at which a shift is told',
    small: 'more false alarms',
    large: 'later alarms',
    source: 'Montgomery 2009, section 9.1.3: one false alarm in 465 values with allowance 0.5',
  },
} satisfies ParameterTable;

export interface CusumCoefficients extends ParametersOf<typeof cusumParams> {
  readonly target: number;
  readonly standardDeviation: number;
}

export interface CusumState {
  readonly count: number;
  /** Sums upward and downward, in the values' unit, 0 or more. */
  readonly up: number;
  readonly down: number;
  /** Values since each sum was last 0: where a shift would have begun. */
  readonly upSince: number;
  readonly downSince: number;
}

export interface CusumPoint extends CusumState {
  readonly signal: 'up' | 'down' | null;
}

export function deriveCusum(
  target: number,
  standardDeviation: number,
  given: { readonly [Name in keyof typeof cusumParams]?: number } = {},
): CusumCoefficients {
  return Object.freeze({ ...resolveParams(cusumParams, given), target, standardDeviation });
}

export const initialCusum: CusumState = Object.freeze({ count: 0, up: 0, down: 0, upSince: 0, downSince: 0 });

/** One value further (Page 1954, Biometrika 41:100, in the tabular form; from memory). */
export function stepCusum(coefficients: CusumCoefficients, state: CusumState, value: number): CusumPoint {
  const { target, standardDeviation } = coefficients;
  const allowance = coefficients.allowance * standardDeviation;
  const threshold = coefficients.threshold * standardDeviation;
  const up = Math.max(0, state.up + value - target - allowance);
  const down = Math.max(0, state.down + target - value - allowance);
  return {
    count: state.count + 1,
    up,
    down,
    upSince: up > 0 ? state.upSince + 1 : 0,
    downSince: down > 0 ? state.downSince + 1 : 0,
    signal: up > threshold ? 'up' : down > threshold ? 'down' : null,
  };
}
