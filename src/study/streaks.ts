import { type Insufficient, insufficient, requireBetween, requireWhole } from './checks.ts';
import { mean, quantile } from './descriptive.ts';
import type { Interval } from './proportion-interval.ts';
import { type RandomSource, shuffle } from './random-source.ts';

export interface StreakResult {
  readonly kind: 'streaks';
  /** Share made right after `length` makes, and right after as many misses, as counted. */
  readonly afterMakes: number | null;
  readonly afterMisses: number | null;
  /** Their difference as counted, and what it would be on average if order meant nothing. */
  readonly difference: number;
  readonly expectedDifference: number;
  /** Difference less that expectation. */
  readonly corrected: number;
  /** Middle 95 % of the differences if order meant nothing. */
  readonly nullInterval95: Interval;
  /** Chance of a difference as large or larger if order meant nothing. */
  readonly pGreater: number;
  readonly pTwoSided: number;
  readonly rearrangements: number;
}

/**
 * Whether makes come in streaks: the make share after a streak of makes less that after a streak of misses, against random
 * orders of the same makes and misses. In a finite run that difference is negative on average even where order means nothing
 * (Miller and Sanjurjo 2018, Econometrica 86:2019; from memory), so it is compared with, and corrected by, rearrangements, never with zero.
 *
 * @param runs shots in order, true for a make, a list for each set; rearranged within their set.
 * @param length of the streak that counts.
 */
export function analyzeStreaks(
  runs: readonly (readonly boolean[])[],
  length: number,
  random: RandomSource,
  draws = 4000,
): StreakResult | Insufficient {
  requireWhole('length', length, 1, 10);
  requireWhole('draws', draws, 100);
  const observed = countAfter(runs, length);
  const difference = differenceOf(observed);
  if (difference === null)
    return insufficient(
      `no shot followed ${length} makes, or none followed ${length} misses, so there is nothing to compare`,
    );
  const copies = runs.map((run) => [...run]);
  const nulls: number[] = [];
  for (let draw = 0; draw < draws; draw++) {
    for (const run of copies) shuffle(run, random);
    const drawn = differenceOf(countAfter(copies, length));
    // An order without such a streak has no difference: left out of the average, as in the paper.
    if (drawn !== null) nulls.push(drawn);
  }
  if (nulls.length < 50) return insufficient('hardly any order of these shots has such streaks');
  const expected = mean(nulls);
  const share = (test: (value: number) => boolean) => (nulls.filter(test).length + 1) / (nulls.length + 1);
  const far = Math.abs(difference - expected) - 1e-12;
  return Object.freeze({
    kind: 'streaks',
    afterMakes: observed.makes.tries > 0 ? observed.makes.made / observed.makes.tries : null,
    afterMisses: observed.misses.tries > 0 ? observed.misses.made / observed.misses.tries : null,
    difference,
    expectedDifference: expected,
    corrected: difference - expected,
    nullInterval95: [quantile(nulls, 0.025), quantile(nulls, 0.975)] as const,
    pGreater: share((value) => value >= difference - 1e-12),
    pTwoSided: share((value) => Math.abs(value - expected) >= far),
    rearrangements: nulls.length,
  });
}

interface AfterCounts {
  readonly makes: { tries: number; made: number };
  readonly misses: { tries: number; made: number };
}

function countAfter(runs: readonly (readonly boolean[])[], length: number): AfterCounts {
  const counts: AfterCounts = { makes: { tries: 0, made: 0 }, misses: { tries: 0, made: 0 } };
  for (const run of runs) {
    let streak = 0;
    for (let i = 0; i < run.length; i++) {
      const made = run[i]!;
      if (i > 0 && streak >= length) {
        const side = run[i - 1] ? counts.makes : counts.misses;
        side.tries++;
        if (made) side.made++;
      }
      streak = i > 0 && run[i - 1] === made ? streak + 1 : 1;
    }
  }
  return counts;
}

function differenceOf({ makes, misses }: AfterCounts): number | null {
  return makes.tries > 0 && misses.tries > 0 ? makes.made / makes.tries - misses.made / misses.tries : null;
}

/**
 * Expected share of makes right after `length` makes over all runs of `shots` shots of chance p that have such a shot: below
 * p, the finite-sample bias itself (Miller and Sanjurjo 2018, section 2; from memory), counted over every run.
 *
 * @param shots at most 20.
 */
export function expectedAfterMakes(shots: number, p: number, length = 1): number {
  requireWhole('shots', shots, length + 1, 20);
  requireBetween('p', p, 0, 1);
  let [weightSum, shareSum] = [0, 0];
  for (let code = 0; code < 2 ** shots; code++) {
    const run = Array.from({ length: shots }, (_, i) => ((code >> i) & 1) === 1);
    const { makes } = countAfter([run], length);
    if (makes.tries === 0) continue;
    const made = run.filter(Boolean).length;
    const weight = p ** made * (1 - p) ** (shots - made);
    weightSum += weight;
    shareSum += (weight * makes.made) / makes.tries;
  }
  return shareSum / weightSum;
}
