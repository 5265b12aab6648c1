import type { Shot, ShotMeasureName, StartKind } from '../shots/shot.ts';
import { type Insufficient, insufficient, isInsufficient } from '../study/checks.ts';
import { type EquivalenceResult, equivalenceOf } from '../study/equivalence.ts';
import { summarize, welchTest } from '../study/two-means.ts';
import { type BandedMeasure, type BandRow, bandTable } from './bands.ts';

export interface StartComparison {
  readonly measure: BandedMeasure;
  readonly one: StartKind;
  readonly two: StartKind;
  readonly shots: readonly [number, number];
  /** Up to this difference two starts count as the same shot, in the measure's unit. */
  readonly margin: number;
  readonly result: EquivalenceResult | Insufficient;
  readonly answer: 'same' | 'different' | 'open';
}

/** Measures that have one meaning whatever the start. */
const comparable: readonly BandedMeasure[] = [
  'liftToReleaseS',
  'axisTiltDeg',
  'backspinRps',
  'launchAngleDeg',
  'forearmElevationDeg',
];
const fewestShots = 8;
/** Errors are made this much larger for shots that hang together (correlation 0.25 of neighbours). */
const serialGrowth = Math.sqrt(1.25 / 0.75);

/**
 * Whether the shot is the same from every kind of start: two one-sided tests within a margin, so that "the same" is an answer and too few
 * shots are none. Margins are the least half widths of the bands.
 */
export function compareStarts(shots: readonly Shot[]): readonly StartComparison[] {
  const kinds = (['dribble', 'catch', 'hold'] as const).filter((kind) =>
    shots.some(({ startKind }) => startKind === kind),
  );
  return comparable.flatMap((measure) =>
    kinds.flatMap((one, i) => kinds.slice(i + 1).map((two) => compareTwo(shots, measure, one, two))),
  );
}

function compareTwo(shots: readonly Shot[], measure: BandedMeasure, one: StartKind, two: StartKind): StartComparison {
  const row: BandRow = bandTable[measure];
  const first = valuesOf(shots, measure, one);
  const second = valuesOf(shots, measure, two);
  const base = { measure, one, two, shots: [first.length, second.length], margin: row.leastHalfWidth } as const;
  if (Math.min(first.length, second.length) < fewestShots) {
    const result = insufficient(`fewer than ${fewestShots} measured shots of one of the starts`);
    return Object.freeze({ ...base, result, answer: 'open' });
  }
  const test = welchTest(summarize(first), summarize(second));
  if (isInsufficient(test)) return Object.freeze({ ...base, result: test, answer: 'open' });
  const result = equivalenceOf(test.difference, serialGrowth * test.standardError, test.df, row.leastHalfWidth);
  const [low, high] = result.interval;
  const different = low > row.leastHalfWidth || high < -row.leastHalfWidth;
  return Object.freeze({ ...base, result, answer: result.same ? 'same' : different ? 'different' : 'open' });
}

function valuesOf(shots: readonly Shot[], measure: ShotMeasureName, kind: StartKind): number[] {
  return shots.flatMap((shot) => {
    const { value } = shot.measures[measure];
    return shot.startKind === kind && value !== null ? [value] : [];
  });
}
