import { type Insufficient, isInsufficient } from '../study/checks.ts';
import { type CusumPoint, deriveCusum, initialCusum, stepCusum } from '../study/cusum-chart.ts';
import { deriveEwma, type EwmaPoint, initialEwma, stepEwma } from '../study/ewma-chart.ts';
import { type TrendResult, trendWithSerialCorrelation } from '../study/linear-trend.ts';

/** What is known of the player before the session, in the measure's unit. */
export interface UsualLevel {
  readonly level: number;
  readonly spread: number;
  /** Correlation of neighbouring shots, from earlier sessions or assumed. */
  readonly serialCorrelation: number;
}

export interface SessionDrift {
  /** Change over 50 shots, with an interval that allows for shots that hang together. */
  readonly per50Shots: TrendResult | Insufficient;
  /** Moving average with its limits, and sums, shot by shot; empty where the usual level is not known. */
  readonly average: readonly EwmaPoint[];
  readonly sums: readonly CusumPoint[];
  /** First shot, counted from 1, at which a chart leaves its limits. */
  readonly firstSignal: number | null;
}

/**
 * Drift of a measure over a session: a slope with its interval, and charts against the usual level. Limits of the charts are made wider for
 * shots that hang together, by sqrt((1 + r) / (1 - r)), as the long-run spread of their sums is (Vasilopoulos and
 * Stamboulis 1978, J. Qual. Technol. 10:20, in its simplest form).
 */
export function sessionDrift(values: readonly number[], usual: UsualLevel | null): SessionDrift {
  const per50Shots = trendWithSerialCorrelation(
    values.map((_, i) => i / 50),
    values,
  );
  if (usual === null || !(usual.spread > 0)) return { per50Shots, average: [], sums: [], firstSignal: null };
  const grown = usual.spread * Math.sqrt((1 + usual.serialCorrelation) / (1 - usual.serialCorrelation));
  const ewma = deriveEwma(usual.level, grown);
  const cusum = deriveCusum(usual.level, grown);
  const average: EwmaPoint[] = [];
  const sums: CusumPoint[] = [];
  for (const value of values) {
    average.push(stepEwma(ewma, average.at(-1) ?? initialEwma(ewma), value));
    sums.push(stepCusum(cusum, sums.at(-1) ?? initialCusum, value));
  }
  const first = values.findIndex((_, i) => average[i]!.signal || sums[i]!.signal !== null);
  return { per50Shots, average, sums, firstSignal: first < 0 ? null : first + 1 };
}

/** @returns in a word what the slope says: `up`, `down`, or `none-seen`, which is not "none". */
export function driftDirection({ per50Shots }: SessionDrift): 'up' | 'down' | 'none-seen' {
  if (isInsufficient(per50Shots)) return 'none-seen';
  const [low, high] = per50Shots.interval;
  return low > 0 ? 'up' : high < 0 ? 'down' : 'none-seen';
}
