import { SeamwiseError } from '../foundation/errors.ts';
import { type AcrossPlayers, acrossPlayers } from './across-players.ts';
import { type Insufficient, insufficient, isInsufficient, requireFinite, requireWhole } from './checks.ts';
import { mean, standardDeviation } from './descriptive.ts';
import { type EquivalenceResult, equivalenceOf } from './equivalence.ts';
import { type FisherResult, fisherExact } from './fisher-exact.ts';
import { holmAdjust } from './multiple-comparisons.ts';
import { type PermutationResult, pairedPermutationTest, permutationTest } from './permutation-test.ts';
import { clopperPearsonInterval, type Interval, newcombeInterval, wilsonInterval } from './proportion-interval.ts';
import type { RandomSource } from './random-source.ts';
import { analyzeStreaks, type StreakResult } from './streaks.ts';
import { type StudyQuantity, type StudySet, unitsOf } from './study-units.ts';
import { type MeanDifference, pairedTest, summarize, welchTest } from './two-means.ts';

export interface StudyOptions {
  /** Differences up to this count as the same, by quantity (`makes` as a share); without one there is no such answer. */
  readonly margins: Readonly<Record<string, number>>;
  readonly measures: readonly string[];
  readonly alpha?: number;
  readonly random: RandomSource;
  readonly draws?: number;
}

export interface ConditionMakes {
  readonly condition: string;
  readonly sets: number;
  readonly makes: number;
  readonly attempts: number;
  readonly score: Interval;
  readonly exact: Interval;
}

export interface StudyComparison {
  readonly quantity: StudyQuantity;
  readonly one: string;
  readonly two: string;
  /** Days on which a player shot both, or days of either where there are too few of these. */
  readonly design: 'within-days' | 'between-days';
  readonly units: number;
  /** One less two with days as the data: the interval that holds whatever hangs together within a day. */
  readonly difference: MeanDifference | Insufficient;
  /** The labels dealt anew within days: holds with no assumption but the random order. */
  readonly permutation: PermutationResult | Insufficient;
  /** p of the permutation, adjusted for all comparisons of the study (Holm). */
  readonly adjustedP: number | null;
  readonly equivalence: EquivalenceResult | null;
  readonly byPlayer: AcrossPlayers | Insufficient;
  /** As if all shots were independent; for makes alone, beside the others. */
  readonly asIfIndependent: { readonly interval: Interval; readonly fisher: FisherResult } | null;
  /** `differ-within-margin`: a difference is there, and it is smaller than the margin. */
  readonly answer: 'differ' | 'same' | 'differ-within-margin' | 'open';
}

/** What a study cannot answer, with the reason. */
export const studyNotes = {
  'totals-only':
    'some sets have totals without single outcomes: streaks and drift within these sets cannot be looked at',
  'no-makes': 'some sets were not counted: they say nothing of makes',
  'between-days': 'conditions were not shot on the same days: what differs from day to day stands in the difference',
  'one-player': 'one player alone: nothing here tells of others',
} as const;
export type StudyNote = keyof typeof studyNotes;

export interface StudyResult {
  readonly makes: readonly ConditionMakes[];
  readonly comparisons: readonly StudyComparison[];
  readonly streaks: StreakResult | Insufficient;
  readonly notes: readonly StudyNote[];
}

const streakLength = 3;
const streakDraws = 500;

/**
 * Compares two conditions or more: make shares and measures, every pair of conditions. Days of a player are the data, paired where
 * both were shot on the day; the answer stands on the permutation test adjusted for the number of comparisons, and on two one-sided
 * tests within the margin.
 *
 * @throws SeamwiseError `statistic-input` for counts that cannot be and for fewer than two conditions.
 */
export function analyzeStudy(sets: readonly StudySet[], options: StudyOptions): StudyResult {
  check(sets);
  const alpha = options.alpha ?? 0.05;
  const conditions = [...new Set(sets.map(({ condition }) => condition))].sort();
  if (conditions.length < 2) {
    throw new SeamwiseError(
      'statistic-input',
      `a study compares conditions: expected sets of two at least, got ${conditions.length === 0 ? 'no set' : `only "${conditions[0]}"`}`,
    );
  }
  const quantities: StudyQuantity[] = [
    { kind: 'makes' },
    ...options.measures.map((name) => ({ kind: 'measure', name }) as const),
  ];
  const raw = quantities.flatMap((quantity) =>
    conditions.flatMap((one, i) =>
      conditions.slice(i + 1).map((two) => compare(sets, quantity, one, two, options, alpha)),
    ),
  );
  const tested = raw.flatMap(({ permutation }) => (isInsufficient(permutation) ? [] : [permutation.pTwoSided]));
  const adjusted = holmAdjust(tested);
  let at = 0;
  const comparisons = raw.map((comparison): StudyComparison => {
    const adjustedP = isInsufficient(comparison.permutation) ? null : adjusted[at++]!;
    const differ = adjustedP !== null && adjustedP <= alpha;
    const same = comparison.equivalence?.same === true;
    const answer = differ ? (same ? 'differ-within-margin' : 'differ') : same ? 'same' : 'open';
    return Object.freeze({ ...comparison, adjustedP, answer });
  });
  const runs = sets.flatMap(({ outcomes }) => (outcomes === null ? [] : [outcomes]));
  const streaks =
    runs.length === 0
      ? insufficient('no set has single outcomes in order')
      : analyzeStreaks(runs, streakLength, options.random, streakDraws);
  const notes: StudyNote[] = [];
  if (sets.some(({ outcomes, makes }) => outcomes === null && makes !== null)) notes.push('totals-only');
  if (sets.some(({ makes }) => makes === null)) notes.push('no-makes');
  if (comparisons.some(({ design, units }) => design === 'between-days' && units > 0)) notes.push('between-days');
  if (new Set(sets.map(({ player }) => player)).size === 1) notes.push('one-player');
  return Object.freeze({
    makes: conditions.flatMap((condition) => makesOf(sets, condition) ?? []),
    comparisons,
    streaks,
    notes,
  });
}

function makesOf(sets: readonly StudySet[], condition: string): ConditionMakes | null {
  const counted = sets.filter((set) => set.condition === condition && set.makes !== null);
  const makes = counted.reduce((sum, set) => sum + set.makes!, 0);
  const attempts = counted.reduce((sum, set) => sum + set.attempts, 0);
  if (attempts === 0) return null;
  return {
    condition,
    sets: counted.length,
    makes,
    attempts,
    score: wilsonInterval(makes, attempts),
    exact: clopperPearsonInterval(makes, attempts),
  };
}

function compare(
  sets: readonly StudySet[],
  quantity: StudyQuantity,
  one: string,
  two: string,
  { margins, random, draws }: StudyOptions,
  alpha: number,
): Omit<StudyComparison, 'adjustedP' | 'answer'> {
  const { pairs, single } = unitsOf(sets, quantity, one, two);
  // With fewer pairs than six no rearrangement can reach the usual rates.
  const within = pairs.length >= 6;
  const first = pairs.map((pair) => pair.one);
  const second = pairs.map((pair) => pair.two);
  const allOne = [...first, ...single.one];
  const allTwo = [...second, ...single.two];
  const chance = { random, ...(draws === undefined ? {} : { draws }) };
  const difference = within ? pairedTest(first, second) : welchTest(summarized(allOne), summarized(allTwo));
  const permutation = within ? pairedPermutationTest(first, second, chance) : permutationTest(allOne, allTwo, chance);
  const margin = margins[quantity.kind === 'makes' ? 'makes' : quantity.name];
  const equivalence =
    margin === undefined || isInsufficient(difference)
      ? null
      : equivalenceOf(difference.difference, difference.standardError, difference.df, margin, alpha);
  return {
    quantity,
    one,
    two,
    design: within ? 'within-days' : 'between-days',
    units: within ? pairs.length : allOne.length + allTwo.length,
    difference,
    permutation,
    equivalence,
    byPlayer: byPlayer(pairs),
    asIfIndependent: quantity.kind === 'makes' ? independent(sets, one, two) : null,
  };
}

function summarized(values: readonly number[]) {
  return values.length === 0 ? { mean: 0, standardDeviation: 0, count: 0 } : summarize(values);
}

/** Each player's own mean difference over days, then the effect over players. */
function byPlayer(
  pairs: readonly { readonly player: string; readonly one: number; readonly two: number }[],
): AcrossPlayers | Insufficient {
  const differences = new Map<string, number[]>();
  for (const { player, one, two } of pairs) differences.set(player, [...(differences.get(player) ?? []), one - two]);
  const usable = [...differences.values()].filter((values) => values.length >= 3 && standardDeviation(values) > 0);
  if (usable.length < 2) return insufficient('the effect over players needs two players with three days of both each');
  return acrossPlayers(
    usable.map((values) => mean(values)),
    usable.map((values) => standardDeviation(values) / Math.sqrt(values.length)),
  );
}

function independent(sets: readonly StudySet[], one: string, two: string) {
  const [first, second] = [makesOf(sets, one), makesOf(sets, two)];
  if (first === null || second === null) return null;
  const count = ({ makes, attempts }: ConditionMakes) => ({ successes: makes, tries: attempts });
  return {
    interval: newcombeInterval(count(first), count(second)),
    fisher: fisherExact([first.makes, first.attempts - first.makes], [second.makes, second.attempts - second.makes]),
  };
}

function check(sets: readonly StudySet[]): void {
  for (const [i, set] of sets.entries()) {
    const name = `set ${i + 1} (${set.condition}, day ${set.day})`;
    requireWhole(`attempts of ${name}`, set.attempts, 1);
    if (set.makes !== null) requireWhole(`makes of ${name}`, set.makes, 0, set.attempts);
    if (set.outcomes !== null && set.outcomes.length !== set.attempts) {
      throw new SeamwiseError(
        'statistic-input',
        `outcomes of ${name}: expected ${set.attempts}, one a shot, got ${set.outcomes.length}`,
      );
    }
    if (set.outcomes !== null && set.makes !== null && set.outcomes.filter(Boolean).length !== set.makes) {
      throw new SeamwiseError(
        'statistic-input',
        `outcomes of ${name}: ${set.outcomes.filter(Boolean).length} makes, but the total says ${set.makes}`,
      );
    }
    for (const [measure, values] of Object.entries(set.values)) requireFinite(`${measure} of ${name}`, values);
  }
}
