import type { Transaction } from 'kysely';
import type { Shot } from '../../shots/shot.ts';
import { newId } from '../database/new-id.ts';
import type { Reanalysis } from '../database/shot-records.ts';
import { resultRow, shotRow } from '../database/shot-rows.ts';
import type { StoreContext } from '../database/store-context.ts';
import type { Tables } from '../database/tables.ts';
import type { JobLease, JobRecords } from './job-records.ts';

/** What a worker made of a handed recording. */
export interface JobResults extends Omit<Reanalysis, 'absorbed' | 'run'> {
  readonly job: JobLease;
  readonly sessionId: string;
  /** What it was made of, by its checksum. */
  readonly checksum: string;
  /** The shots that its own were held against. */
  readonly knownShotIds: readonly string[];
  readonly counts: Readonly<Record<string, number>>;
}

/** What the results were held against is another by now: hold them against that. */
export class ShotsChangedError extends Error {}

/** The recording was taken away or cut meanwhile: what was made of it does not count. */
export class RecordingChangedError extends Error {
  constructor() {
    super('the recording was taken back or cut while it was gone through');
  }
}

/**
 * Stores what a job made of a recording and ends the job, all or nothing. On a hub the shots themselves stay as their courts have them:
 * results stand beside those of the court, one of each version of the analysis, and what was not known before is added.
 *
 * @throws LeaseLostError, RecordingChangedError or ShotsChangedError; nothing is stored then.
 */
export async function storeJobResults(
  context: StoreContext,
  jobs: Pick<JobRecords, 'done'>,
  results: JobResults,
): Promise<void> {
  const { clubId, write } = context;
  const { job, sessionId, checksum, knownShotIds, analysisVersion, parameters, again, added, counts } = results;
  await write(async (trx) => {
    // First: another worker that has it now waits here, and finds it done.
    await jobs.done(trx, job, counts, { analysisVersion });
    const recording = trx.selectFrom('hub_recording').select('checksum').where('id', '=', sessionId);
    const there = await recording.where('club_id', '=', clubId).where('complete_s', 'is not', null).executeTakeFirst();
    if (there?.checksum !== checksum) throw new RecordingChangedError();
    const shots = trx.selectFrom('shot').select('id').where('session_id', '=', sessionId);
    const now = (await shots.where('club_id', '=', clubId).execute()).map(({ id }) => id).sort();
    if (now.join() !== [...knownShotIds].sort().join()) throw new ShotsChangedError();
    const put = async (shotId: string, shot: Shot): Promise<void> => {
      await makeRoom(trx, clubId, shotId, analysisVersion);
      const row = resultRow(context, shotId, { shot, analysisVersion, parameters });
      await trx.insertInto('shot_result').values(row).execute();
      const named = { shot_id: shotId, analysis_version: analysisVersion, result_id: row.id, job_id: job.jobId };
      await trx
        .insertInto('job_result')
        .values({ club_id: clubId, ...named })
        .execute();
    };
    for (const { shotId, shot } of again) await put(shotId, shot);
    for (const { shot, ...place } of added) {
      const id = newId(context.nowS());
      const row = shotRow(context, id, { sessionId, setId: null, ...place }, shot, null);
      await trx.insertInto('shot').values(row).execute();
      await put(id, shot);
    }
  });
}

/** The result of an earlier job of the same version is replaced; all others stay, and are not the current one any more. */
async function makeRoom(
  trx: Transaction<Tables>,
  clubId: string,
  shotId: string,
  analysisVersion: string,
): Promise<void> {
  const before = await trx
    .deleteFrom('job_result')
    .where('club_id', '=', clubId)
    .where('shot_id', '=', shotId)
    .where('analysis_version', '=', analysisVersion)
    .returning('result_id')
    .executeTakeFirst();
  if (before) {
    await trx.deleteFrom('shot_result').where('club_id', '=', clubId).where('id', '=', before.result_id).execute();
  }
  await trx
    .updateTable('shot_result')
    .set({ is_current: 0 })
    .where('club_id', '=', clubId)
    .where('shot_id', '=', shotId)
    .where('is_current', '=', 1)
    .execute();
}
