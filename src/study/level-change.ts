import { requireBetween, requireWhole, requireWithin } from './checks.ts';
import { mean, trimmedMean, variance } from './descriptive.ts';
import { studentQuantile } from './student-t.ts';

/** The level of one day and what is known of its error; values in one unit. */
export interface DayLevel {
  /** Place of the day in the row of practices: neighbouring days hang together more than distant ones. */
  readonly place: number;
  readonly level: number;
  /** Error of the level from the scatter of its shots alone. */
  readonly samplingError: number;
  readonly shots: number;
}

/**
 * Level of a day: mean without the outermost tenth on either side, since a slipped ball tells nothing of the level; its error
 * grown for shots that hang together.
 */
export function levelOfDay(values: ArrayLike<number>, place: number, serialCorrelation: number): DayLevel {
  requireWithin('serialCorrelation', serialCorrelation, 0, 0.95);
  const { mean: level, standardError } = trimmedMean(values, 0.1);
  const grown = Math.sqrt((1 + serialCorrelation) / (1 - serialCorrelation));
  return { place, level, samplingError: standardError * grown, shots: values.length };
}

export interface LevelChange {
  /** Mean level after less mean level before. */
  readonly change: number;
  readonly standardError: number;
  readonly df: number;
  /** Spread of the levels of single days about the level of their stretch, sampling of shots included. */
  readonly daySd: number;
}

/**
 * Change of the level between two stretches of days. A day is one piece of data, however many shots it has: what makes a
 * player differ from day to day does not shrink with more shots.
 *
 * The spread of days is the pooled spread within the stretches, and not less than the scatter of the shots makes it. Days that
 * follow each other are allowed a correlation `dayCorrelation` for each step of place: the variance of the change and
 * what the pooled spread shows of it are both taken under it (first-order autoregression; Box, Jenkins and Reinsel 2008).
 *
 * @param before, after two days or more each, and three together at least.
 */
export function levelChange(
  before: readonly DayLevel[],
  after: readonly DayLevel[],
  dayCorrelation: number,
): LevelChange {
  requireWhole('days before', before.length, 2);
  requireWhole('days after', after.length, 2);
  requireWithin('dayCorrelation', dayCorrelation, 0, 0.9);
  const df = before.length + after.length - 2;
  const levels = (days: readonly DayLevel[]) => days.map(({ level }) => level);
  const squares = [before, after].map((days) => variance(levels(days)) * (days.length - 1));
  const sampling = mean([...before, ...after].map(({ samplingError }) => samplingError ** 2));
  const shown = (squares[0]! + squares[1]!) / df;

  const all = [...before, ...after];
  const weight = (i: number) => (i < before.length ? -1 / before.length : 1 / after.length);
  let ofChange = 0;
  let ofPooled = 0;
  for (let i = 0; i < all.length; i++) {
    for (let j = 0; j < all.length; j++) {
      const together = dayCorrelation ** Math.abs(all[i]!.place - all[j]!.place);
      ofChange += weight(i) * weight(j) * together;
      const same = i < before.length === j < before.length;
      if (same) ofPooled += ((i === j ? 1 : 0) - Math.abs(weight(i))) * together;
    }
  }
  const pooled = Math.max(shown / (ofPooled / df), sampling);
  return {
    change: mean(levels(after)) - mean(levels(before)),
    standardError: Math.sqrt(pooled * ofChange),
    df,
    daySd: Math.sqrt(Math.max(shown, sampling)),
  };
}

/**
 * Shares of the whole error rate that planned looks spend, the first to the last. All looks together spend no more than the whole,
 * whatever hangs together with what (Bonferroni). Few looks, so that later ones, with more days, still have something to spend.
 */
export const lookShares = [0.3, 0.2, 0.25, 0.25] as const;

/** @returns days after the change at which a look is taken, from the number of the first: 1, 1.5, 2 and 3 times it. */
export function lookDays(firstDays: number): readonly number[] {
  requireWhole('firstDays', firstDays, 2);
  return [firstDays, Math.ceil(1.5 * firstDays), 2 * firstDays, 3 * firstDays];
}

/** @returns the part of the error rate `alpha` for a look, 1 for the first. */
export function rateOfLook(alpha: number, look: number): number {
  requireBetween('alpha', alpha, 0, 1);
  requireWhole('look', look, 1, lookShares.length);
  return alpha * lookShares[look - 1]!;
}

/** @returns half the width of the two-sided interval of a change at a look. */
export function halfWidth(change: LevelChange, alpha: number, look: number): number {
  return studentQuantile(1 - rateOfLook(alpha, look) / 2, change.df) * change.standardError;
}
