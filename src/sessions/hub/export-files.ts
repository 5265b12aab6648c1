import type { Selectable, Transaction } from 'kysely';
import { SeamwiseError } from '../../foundation/errors.ts';
import type { JobTable } from '../database/job-tables.ts';
import { exportReasons } from '../database/migrations/011-players-of-exports.ts';
import { missing, type StoreContext } from '../database/store-context.ts';
import type { Tables } from '../database/tables.ts';
import { type JobLease, type JobRecords, LeaseLostError } from './job-records.ts';

const pieceBytes = 1024 * 1024;

/**
 * What workers wrote of exports, in pieces of the database, to be fetched anywhere. It is there as long as everybody in it agrees: a
 * withdrawal, or a deletion, takes it away (`migrations/011-players-of-exports.ts`).
 */
export class ExportFiles {
  readonly #context: StoreContext;
  readonly #jobs: Pick<JobRecords, 'done'>;

  constructor(context: StoreContext, jobs: Pick<JobRecords, 'done'>) {
    this.#context = context;
    this.#jobs = jobs;
  }

  /**
   * Keeps what a piece of work wrote, and ends it.
   *
   * @param playerIds who is in it: each has to agree to exports still.
   * @throws LeaseLostError; SeamwiseError `no-consent` where somebody withdrew meanwhile. Nothing of it is kept then.
   */
  async keep(
    held: JobLease,
    content: AsyncIterable<Uint8Array>,
    counts: Readonly<Record<string, number>>,
    playerIds: readonly string[],
  ): Promise<void> {
    const { db, clubId, write } = this.#context;
    let place = 0;
    let bytes = 0;
    try {
      for await (const piece of inPieces(content)) {
        const row = { club_id: clubId, job_id: held.jobId, lease: held.lease, place: place++, content: piece };
        // A withdrawal takes the lease away, and what is there by then: nothing comes behind it.
        await write(async (trx) => {
          if (!(await this.#isHeld(trx, held))) throw new LeaseLostError();
          await trx.insertInto('job_file').values(row).execute();
        });
        bytes += piece.length;
      }
      await write(async (trx) => {
        await this.#notePlayers(trx, held, playerIds);
        await this.#jobs.done(trx, held, { ...counts, bytes });
      });
    } catch (error) {
      const left = db.deleteFrom('job_file').where('club_id', '=', clubId).where('job_id', '=', held.jobId);
      await left
        .where('lease', '=', held.lease)
        .execute()
        .catch(() => {});
      throw error;
    }
  }

  /**
   * @returns what a piece of work wrote.
   * @throws SeamwiseError `store-missing` unless it is done and has something to be fetched, `export-removed` where somebody in it
   * withdrew or was deleted; also while it is read.
   */
  async read(jobId: string): Promise<AsyncGenerator<Uint8Array>> {
    const { db, clubId } = this.#context;
    const row = await this.#about(jobId);
    if (row?.state === 'stopped' && isRemoval(row.reason)) throw new SeamwiseError('export-removed', row.reason);
    const lease = row?.state === 'done' && row.kind === 'export' ? row.lease : null;
    if (!row || lease === null) throw missing('finished export', jobId);
    const { bytes = 0 } = JSON.parse(row.counts) as { readonly bytes?: number };
    const pieceAt = (place: number) =>
      db
        .selectFrom('job_file')
        .select('content')
        .where('club_id', '=', clubId)
        .where('job_id', '=', jobId)
        .where('lease', '=', lease)
        .where('place', '=', place)
        .executeTakeFirst();
    const about = () => this.#about(jobId);
    return (async function* () {
      for (let place = 0, told = 0; told < bytes; place++) {
        const piece = await pieceAt(place);
        if (!piece) {
          const reason = (await about())?.reason ?? null;
          throw new SeamwiseError('export-removed', isRemoval(reason) ? reason : 'the export was removed meanwhile');
        }
        yield piece.content;
        told += piece.content.length;
      }
    })();
  }

  async #about(jobId: string): Promise<Selectable<JobTable> | undefined> {
    const { db, clubId } = this.#context;
    return db.selectFrom('job').selectAll().where('club_id', '=', clubId).where('id', '=', jobId).executeTakeFirst();
  }

  async #notePlayers(trx: Transaction<Tables>, { jobId }: JobLease, playerIds: readonly string[]): Promise<void> {
    const { clubId } = this.#context;
    if (playerIds.length === 0) return;
    const rows = await trx
      .selectFrom('consent')
      .select('player_id')
      .where('scope', '=', 'export')
      .where('withdrawn_s', 'is', null)
      .where('club_id', '=', clubId)
      .execute();
    const agreed = new Set(rows.map(({ player_id }) => player_id));
    if (!playerIds.every((id) => agreed.has(id))) {
      throw new SeamwiseError(
        'no-consent',
        'somebody in the export withdrew the consent to it while it was written: nothing of it is kept, it is begun anew',
      );
    }
    await trx
      .insertInto('job_player')
      .values(playerIds.map((player_id) => ({ club_id: clubId, job_id: jobId, player_id })))
      .execute();
  }

  async #isHeld(trx: Transaction<Tables>, { jobId, lease }: JobLease): Promise<boolean> {
    const jobs = trx.selectFrom('job').select('id').where('club_id', '=', this.#context.clubId).where('id', '=', jobId);
    return (await jobs.where('lease', '=', lease).where('state', '=', 'running').executeTakeFirst()) !== undefined;
  }
}

function isRemoval(reason: string | null): reason is string {
  const { withdrawn, erased, unknown } = exportReasons;
  return reason === withdrawn || reason === erased || reason === unknown;
}

async function* inPieces(content: AsyncIterable<Uint8Array>): AsyncGenerator<Buffer> {
  let parts: Uint8Array[] = [];
  let bytes = 0;
  for await (const part of content) {
    parts.push(part);
    bytes += part.length;
    if (bytes < pieceBytes) continue;
    yield Buffer.concat(parts);
    parts = [];
    bytes = 0;
  }
  if (bytes > 0) yield Buffer.concat(parts);
}
