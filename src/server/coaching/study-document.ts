import { shownQuantity, studyInWords, studyLimitsInWords } from '../../reports/study-words.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { Study } from '../../sessions/database/study-records.ts';
import { analyzeStudy, type StudyResult } from '../../study/analyze-study.ts';
import { type Insufficient, insufficient, isInsufficient } from '../../study/checks.ts';
import { seededSource } from '../../study/seeded-source.ts';
import type { StudySet } from '../../study/study-units.ts';
import type { StudyResultAnswer } from './answer-types.ts';
import { studySets } from './study-sets.ts';

const units = { units: 'metric', spin: 'rev/s' } as const;

/** How studies are reckoned, for whoever asks. */
export const studyMethods: readonly string[] = [
  'Days of a player are the data: conditions shot on the same day are compared within it, whatever differs from day to day. p is that of labels dealt anew within days (permutation test), adjusted for the number of comparisons (Holm).',
  'Differences with 95 % intervals by paired or Welch t over days; “the same” by two one-sided tests at 5 % (90 % interval within the margin).',
  'Shares with score intervals (Wilson) and exact ones (Clopper and Pearson), which take every shot as independent.',
  'Streaks after three makes and three misses, the bias of finite runs taken out by permutation within runs.',
];

/** Seed of what is dealt anew in a study: whoever asks, the same sets give the same numbers. */
export function analysisSeed(study: Pick<Study, 'seed'>): string {
  return `${study.seed} analysis`;
}

/** @returns what the sets say, or why there is nothing to say yet. */
export function judgeSets(
  sets: readonly StudySet[],
  asked: {
    readonly margins: Readonly<Record<string, number>>;
    readonly measures: readonly string[];
    readonly seed: string;
  },
): StudyResult | Insufficient {
  const [only, ...others] = new Set(sets.map(({ condition }) => condition));
  if (only === undefined) return insufficient('no set of the study has been shot or counted');
  if (others.length === 0) return insufficient(`only “${only}” has been shot, and a study compares conditions`);
  return analyzeStudy(sets, { ...asked, random: seededSource(asked.seed) });
}

/** What the sets of a study say so far. Conditions go by what stands with the sets: labels while the study is blinded. */
export async function studyResultDocument(store: ClubStore, study: Study): Promise<StudyResultAnswer> {
  const { margins, measures } = study.design;
  const sets = await studySets(store, study, measures);
  const result = judgeSets(sets, { margins, measures, seed: analysisSeed(study) });
  return { studyId: study.id, ...resultDocument(result, margins) };
}

/** Tables and sentences of a result. */
export function resultDocument(
  result: StudyResult | Insufficient,
  margins: Readonly<Record<string, number>>,
): Omit<StudyResultAnswer, 'studyId'> {
  if (isInsufficient(result)) {
    const sentences = [`Nothing to say yet: ${result.reason}.`];
    return { sentences, makes: [], comparisons: [], methods: [...studyMethods], cannotAnswer: [] };
  }
  const sentences = studyInWords(result, { units, margins });
  return {
    sentences,
    makes: result.makes.map(({ score, exact, ...row }) => ({
      ...row,
      score95: [score[0], score[1]],
      exact95: [exact[0], exact[1]],
    })),
    comparisons: result.comparisons.map((comparison) => {
      const { quantity, one, two, design, units: count, difference, permutation, adjustedP, answer } = comparison;
      const name = quantity.kind === 'makes' ? 'makes' : quantity.name;
      const told = isInsufficient(difference) ? null : difference;
      const label = `${shownQuantity(quantity, units).label}, ${one} against ${two}`;
      return {
        ...{ quantity: name, one, two, design, units: count, adjustedP, answer },
        difference: told === null ? null : told.difference,
        interval95: told === null ? null : ([told.interval[0], told.interval[1]] as [number, number]),
        p: isInsufficient(permutation) ? null : permutation.pTwoSided,
        sameWithin: margins[name] ?? null,
        sentence: sentences.find((sentence) => sentence.startsWith(`${label}:`)) ?? label,
      };
    }),
    methods: [...studyMethods],
    cannotAnswer: studyLimitsInWords(result),
  };
}
