import type { StudyReportInput } from '../../reports/study-report.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import { measureDefinitions } from '../../shots/measure-definitions.ts';
import type { StudySet } from '../../study/study-units.ts';
import { analysisSeed, judgeSets } from '../coaching/study-document.ts';
import { studySets } from '../coaching/study-sets.ts';
import type { ReportRequest } from './report-data.ts';

/** Sets that are compared, wherever they come from. */
export interface ComparedSets {
  readonly name: string;
  readonly factor: string;
  readonly sets: readonly StudySet[];
  readonly measures: readonly string[];
  readonly margins: Readonly<Record<string, number>>;
  readonly simulated: boolean;
  readonly blinded: StudyReportInput['blinded'];
  readonly seed: string;
}

/** Everything that a report of a planned study says, from the database. @throws SeamwiseError `store-missing`. */
export async function studyReportData(
  store: ClubStore,
  studyId: string,
  request: ReportRequest,
): Promise<StudyReportInput> {
  return comparedReport(await plannedSets(store, studyId), request);
}

/** Sets of a planned study with what was planned. @throws SeamwiseError `store-missing`. */
export async function plannedSets(
  store: ClubStore,
  studyId: string,
  measures?: readonly string[],
): Promise<ComparedSets> {
  const study = await store.studies.get(studyId);
  const { design, name, factor, blinded, closed_s } = study;
  const asked = measures ?? design.measures;
  let simulated = false;
  for (const { set } of await store.studies.sets(study.id)) {
    simulated ||= (await store.sessions.get(set.session_id)).simulated !== 0;
  }
  return {
    ...{ name, factor, measures: asked, margins: design.margins, simulated },
    sets: await studySets(store, study, asked),
    blinded: blinded === 0 ? false : closed_s === null ? 'still' : true,
    seed: analysisSeed(study),
  };
}

/** A report of whatever sets are compared. */
export function comparedReport(compared: ComparedSets, request: ReportRequest): StudyReportInput {
  const { name, factor, sets, margins, simulated, blinded } = compared;
  return {
    ...request,
    units: { units: 'metric', spin: 'rev/s' },
    definitions: measureDefinitions,
    ...{ name, factor, margins, simulated, blinded },
    players: new Set(sets.map(({ player }) => player)).size,
    days: new Set(sets.map(({ player, day }) => JSON.stringify([player, day]))).size,
    sets: sets.length,
    shots: sets.reduce((sum, { attempts }) => sum + attempts, 0),
    result: judgeSets(sets, compared),
  };
}
