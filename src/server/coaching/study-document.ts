import { shownQuantity, studyInWords } from '../../reports/study-words.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { Study } from '../../sessions/database/study-records.ts';
import type { ShotMeasureName } from '../../shots/shot.ts';
import { analyzeStudy, type StudyResult, studyNotes } from '../../study/analyze-study.ts';
import { isInsufficient } from '../../study/checks.ts';
import { seededSource } from '../../study/seeded-source.ts';
import type { StudySet } from '../../study/study-units.ts';
import type { StudyResultAnswer } from './answer-types.ts';
import { dayNumber, localDate } from './local-day.ts';

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
  const sets = await studySets(store, study);
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

async function studySets(store: ClubStore, study: Study): Promise<StudySet[]> {
  const rows = await store.studies.sets(study.id);
  const zones = new Map<string, string>();
  const { levels, labels } = study.design;
  const covered = study.blinded === 1 && study.closed_s === null;
  const found: StudySet[] = [];
  for (const { set, row_index, place } of rows) {
    const level = study.design.order[row_index]?.[place];
    if (level === undefined) continue;
    const zone = zones.get(set.session_id) ?? (await store.sessions.get(set.session_id)).time_zone;
    zones.set(set.session_id, zone);
    const shots = await store.shots.all({ setId: set.id });
    const single = shots.map(({ outcome }) => outcome);
    // Outcomes count only where every shot has one: a missing one may be missing because of what it was.
    const outcomes =
      single.length > 0 && single.every((one) => one !== 'unknown') ? single.map((one) => one === 'make') : null;
    const total = set.total_made === null || set.total_attempted === null ? null : set;
    const attempts = outcomes?.length ?? total?.total_attempted ?? shots.length;
    if (attempts < 1) continue;
    found.push({
      player: set.player_id ?? '',
      day: dayNumber(localDate(set.started_s, zone)),
      condition: (covered ? labels[level] : levels[level]) ?? '',
      attempts,
      makes: outcomes ? outcomes.filter(Boolean).length : (total?.total_made ?? null),
      outcomes,
      values: Object.fromEntries(
        study.design.measures.map((measure) => [
          measure,
          shots.flatMap(({ result }) => {
            const given = result.shot.measures[measure as ShotMeasureName];
            return given == null || given.value === null ? [] : [given.value];
          }),
        ]),
      ),
    });
  }
  return found;
}
