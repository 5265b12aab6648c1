import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { Study } from '../../sessions/database/study-records.ts';
import type { ShotSetTable } from '../../sessions/database/tables.ts';
import type { ShotMeasureName } from '../../shots/shot.ts';
import type { StudySet } from '../../study/study-units.ts';
import { dayNumber, localDate } from './local-day.ts';

/** What is read of a set. */
type SetRow = Pick<ShotSetTable, 'id' | 'session_id' | 'player_id' | 'total_made' | 'total_attempted' | 'started_s'>;

/** Sets of a study with their conditions: labels while it is blinded and open. */
export async function studySets(store: ClubStore, study: Study, measures: readonly string[]): Promise<StudySet[]> {
  const { levels, labels, order } = study.design;
  const covered = study.blinded === 1 && study.closed_s === null;
  const found: StudySet[] = [];
  for (const { set, row_index, place } of await store.studies.sets(study.id)) {
    const level = order[row_index]?.[place];
    const condition = level === undefined ? undefined : (covered ? labels : levels)[level];
    if (condition === undefined) continue;
    const one = await studySet(store, set, condition, measures);
    if (one !== null) found.push(one);
  }
  return found;
}

/** Kept sets that were given a level of a condition, whatever they were shot for, and whether any of them was simulated. */
export async function setsOfFactor(
  store: ClubStore,
  factor: string,
  measures: readonly string[],
  playerId: string | null,
): Promise<{ readonly sets: readonly StudySet[]; readonly simulated: boolean }> {
  const found: StudySet[] = [];
  let simulated = false;
  for (const { factors, ...set } of await store.sessions.setsWithFactor(factor)) {
    const level = factors.find((one) => one.factor === factor)?.level;
    if (level === undefined || (playerId !== null && set.player_id !== playerId)) continue;
    const one = await studySet(store, set, level, measures);
    if (one === null) continue;
    found.push(one);
    simulated ||= (await store.sessions.get(set.session_id)).simulated !== 0;
  }
  return { sets: found, simulated };
}

/** @returns null for a set in which nothing was shot or counted. */
async function studySet(
  store: ClubStore,
  set: SetRow,
  condition: string,
  measures: readonly string[],
): Promise<StudySet | null> {
  const { time_zone } = await store.sessions.get(set.session_id);
  const shots = await store.shots.all({ setId: set.id });
  const single = shots.map(({ outcome }) => outcome);
  // Outcomes count only where every shot has one: a missing one may be missing because of what it was.
  const isWhole = single.length > 0 && single.every((one) => one !== 'unknown');
  const outcomes = isWhole ? single.map((one) => one === 'make') : null;
  const attempts = outcomes?.length ?? set.total_attempted ?? shots.length;
  if (attempts < 1) return null;
  return {
    player: set.player_id ?? '',
    day: dayNumber(localDate(set.started_s, time_zone)),
    condition,
    attempts,
    makes: outcomes ? outcomes.filter(Boolean).length : set.total_made,
    outcomes,
    values: Object.fromEntries(
      measures.map((measure) => [
        measure,
        shots.flatMap(({ result }) => {
          const given = result.shot.measures[measure as ShotMeasureName];
          return given == null || given.value === null ? [] : [given.value];
        }),
      ]),
    ),
  };
}
