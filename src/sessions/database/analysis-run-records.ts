import type { Selectable } from 'kysely';
import type { StoreContext } from './store-context.ts';
import type { AnalysisRunTable } from './tables.ts';

export type AnalysisRun = Selectable<AnalysisRunTable>;

/** When and for whom recordings were gone through again. They are written with the results (`ShotRecords.storeReanalysis`). */
export class AnalysisRunRecords {
  readonly #context: StoreContext;

  constructor(context: StoreContext) {
    this.#context = context;
  }

  /** @returns those of a session, newest first. */
  list(sessionId: string): Promise<AnalysisRun[]> {
    const { db, clubId } = this.#context;
    return db
      .selectFrom('analysis_run')
      .selectAll()
      .where('session_id', '=', sessionId)
      .where('club_id', '=', clubId)
      .orderBy('made_s', 'desc')
      .orderBy('id', 'desc')
      .execute();
  }
}
