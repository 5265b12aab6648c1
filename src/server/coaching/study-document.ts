import { shownQuantity, studyInWords } from '../../reports/study-words.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { Study } from '../../sessions/database/study-records.ts';
import { analyzeStudy, type StudyResult, studyNotes } from '../../study/analyze-study.ts';
import { isInsufficient } from '../../study/checks.ts';
import { seededSource } from '../../study/seeded-source.ts';
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

/** What the sets of a study say so far. Conditions go by what stands with the sets: labels while the study is blinded. */
export async function studyResultDocument(store: ClubStore, study: Study): Promise<StudyResultAnswer> {
  const sets = await studySets(store, study, study.design.measures);
  const conditions = new Set(sets.map(({ condition }) => condition));
  if (conditions.size < 2) {
    const sentence =
      conditions.size === 0
        ? 'Nothing to say yet: no set of the study has been shot or counted.'
        : `Nothing to say yet: only "${[...conditions][0]}" has been shot, and a study compares conditions.`;
    return { ...emptyResult(study.id), sentences: [sentence] };
  }
  const { margins, measures } = study.design;
  const result = analyzeStudy(sets, { margins, measures, random: seededSource(`${study.seed} analysis`) });
  return { studyId: study.id, ...resultDocument(result, margins) };
}

function emptyResult(studyId: string): StudyResultAnswer {
  return { studyId, sentences: [], makes: [], comparisons: [], methods: [...studyMethods], cannotAnswer: [] };
}

/** Tables and sentences of a result. */
export function resultDocument(
  result: StudyResult,
  margins: Readonly<Record<string, number>>,
): Omit<StudyResultAnswer, 'studyId'> {
  const cannotAnswer = result.notes.map((note) => `${studyNotes[note][0]!.toUpperCase()}${studyNotes[note].slice(1)}.`);
  if (isInsufficient(result.streaks)) {
    cannotAnswer.push(`Streaks: ${result.streaks.reason}.`);
  }
  const all = studyInWords(result, { units, margins });
  return {
    sentences: all.filter((sentence) => !cannotAnswer.includes(sentence)),
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
        sentence: all.find((sentence) => sentence.startsWith(`${label}:`)) ?? label,
      };
    }),
    methods: [...studyMethods],
    cannotAnswer,
  };
}
