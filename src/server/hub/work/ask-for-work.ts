import { SeamwiseError } from '../../../foundation/errors.ts';
import type { ClubStore } from '../../../sessions/database/club-store.ts';
import type { Actor } from '../../../sessions/database/store-context.ts';
import { analysisVersion } from '../../../shots/shot.ts';

export interface ReanalysisWish {
  /** One session alone; all whose recording is here without. */
  readonly sessionId?: string;
  /** Those too that this version has gone through already. */
  readonly again: boolean;
}

/**
 * Asks for recordings that courts handed over to be gone through again; what is asked for already is not asked for twice.
 *
 * @returns ids of the pieces of work. @throws SeamwiseError `store-missing` where the session, or its recording, is not here.
 */
export async function askForReanalysis(
  store: ClubStore,
  actor: Actor,
  { sessionId, again }: ReanalysisWish,
): Promise<string[]> {
  const here = await store.handedRecordings.sessions();
  if (sessionId !== undefined) {
    const { id } = await store.sessions.get(sessionId);
    if (!here.includes(id)) {
      throw new SeamwiseError(
        'store-missing',
        'the hub has no whole recording of this session: its court hands it over once the practice has ended and everybody in it agreed',
      );
    }
  }
  const done = again ? new Set<string>() : await store.jobs.analysed(analysisVersion);
  const ids: string[] = [];
  for (const id of sessionId === undefined ? here : [sessionId]) {
    if (done.has(id)) continue;
    ids.push(await store.jobs.ask(actor, { kind: 'reanalysis', subject: id, words: { analysisVersion } }));
  }
  return ids;
}
