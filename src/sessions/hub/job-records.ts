import { randomBytes } from 'node:crypto';
import { type Expression, PostgresAdapter, type Selectable, sql, type Transaction } from 'kysely';
import { SeamwiseError } from '../../foundation/errors.ts';
import type { JobKind, JobState, JobTable } from '../database/job-tables.ts';
import { newId } from '../database/new-id.ts';
import { type Actor, missing, type StoreContext } from '../database/store-context.ts';
import type { Tables } from '../database/tables.ts';

/** A piece of work as it stands. */
export type Job = Omit<Selectable<JobTable>, 'club_id' | 'lease' | 'words' | 'counts'> & {
  readonly words: unknown;
  readonly counts: Readonly<Record<string, number>>;
  /** The practice that it is about, null where it is about none, or that one is gone. */
  readonly session: { readonly name: string; readonly startedS: number } | null;
};

/** What a worker holds while it works: nobody else has the same. */
export interface JobLease {
  readonly jobId: string;
  readonly lease: string;
}

export interface ClaimedJob extends JobLease {
  readonly kind: JobKind;
  readonly subject: string;
  readonly words: unknown;
  readonly by: Actor;
  readonly tries: number;
}

export interface JobAsked {
  readonly kind: JobKind;
  /** A piece about the same that is open already is this one. */
  readonly subject: string;
  readonly words?: unknown;
}

/** A piece that failed so often is put aside with its reason, until somebody asks for it again. */
export const mostTries = 3;
/** After the first failure, s; four and nine times as long after the next ones. */
const retryS = 10;
/** A worker that was not heard of for so long is taken to be gone, s. */
export const leaseS = 60;
/** Exports can be fetched for so long, s. */
const exportsKeptS = 7 * 86_400;

const silent = 'the worker that had it ended, or was not heard of any longer, in the midst of it';

/**
 * Work that any machine may do, in the database: taken by `for update skip locked`, so that workers neither wait for each other nor take the
 * same, held by a lease that its worker renews, and given to another when it does not. All instants are of the database's clock.
 */
export class JobRecords {
  readonly #context: StoreContext;
  readonly #isPostgres: boolean;

  constructor(context: StoreContext) {
    this.#context = context;
    this.#isPostgres = context.db.getExecutor().adapter instanceof PostgresAdapter;
  }

  /** @returns the id of the piece, which may have been asked for before. */
  async ask(actor: Actor, { kind, subject, words = {} }: JobAsked): Promise<string> {
    const { db, clubId, nowS } = this.#context;
    const id = newId(nowS());
    await db
      .insertInto('job')
      .values({
        ...{ id, club_id: clubId, kind, subject: subject === '' ? id : subject, words: JSON.stringify(words) },
        ...{ state: 'waiting' as const, by_role: actor.role, by_name: actor.name, asked_s: this.#nowS() },
        ...{ not_before_s: 0, ended_s: null, tries: 0, worker: null, lease: null, lease_until_s: null },
        ...{ share: 0, reason: null, counts: '{}' },
      })
      .onConflict((conflict) => conflict.doNothing())
      .execute();
    const open = db.selectFrom('job').select('id').where('club_id', '=', clubId).where('kind', '=', kind);
    const found = await open
      .where('subject', '=', subject === '' ? id : subject)
      .orderBy('asked_s', 'desc')
      .executeTakeFirst();
    return found?.id ?? id;
  }

  /** Takes the oldest piece that is to be done. @param worker how it is called, for people. @returns it, or null. */
  async claim(worker: string, forS: number = leaseS): Promise<ClaimedJob | null> {
    const { db, clubId } = this.#context;
    await this.#parkSilent();
    const lease = randomBytes(16).toString('hex');
    let free = db
      .selectFrom('job')
      .select('id')
      .where('club_id', '=', clubId)
      .where('state', 'in', [sql.lit<JobState>('waiting'), sql.lit<JobState>('running')])
      .where((eb) =>
        eb.or([
          eb.and([eb('state', '=', 'waiting'), eb('not_before_s', '<=', this.#nowS())]),
          eb.and([eb('state', '=', 'running'), eb('lease_until_s', '<', this.#nowS())]),
        ]),
      )
      .orderBy('asked_s')
      .orderBy('id')
      .limit(1);
    if (this.#isPostgres) free = free.forUpdate().skipLocked();
    const row = await db
      .updateTable('job')
      .set((eb) => ({
        ...{ state: 'running' as const, worker, lease, share: 0, tries: eb('tries', '+', 1) },
        lease_until_s: this.#nowS(forS),
      }))
      .where('club_id', '=', clubId)
      .where('id', '=', free)
      .returningAll()
      .executeTakeFirst();
    if (!row) return null;
    // What an earlier try had written by then is nobody's.
    await this.#filesOf(row.id).execute();
    const { id: jobId, kind, subject, tries, by_role, by_name } = row;
    const by = { role: by_role as Actor['role'], name: by_name };
    return { jobId, lease, kind, subject, tries, by, words: JSON.parse(row.words) };
  }

  /**
   * Says that the worker is at it still.
   *
   * @returns whether the piece is still its own, or was ended by it just now: it may have been stopped, or given to another.
   */
  async renew({ jobId, lease }: JobLease, share: number, forS: number = leaseS): Promise<boolean> {
    const held = this.#held(jobId, lease).set({
      share: Math.min(1, Math.max(0, share)),
      lease_until_s: this.#nowS(forS),
    });
    if ((await held.executeTakeFirst()).numUpdatedRows > 0n) return true;
    const { db, clubId } = this.#context;
    const ended = db.selectFrom('job').select('state').where('club_id', '=', clubId).where('id', '=', jobId);
    return (await ended.where('lease', '=', lease).executeTakeFirst())?.state === 'done';
  }

  /** Says that it could not be done. @returns what becomes of it; null where it is not the worker's any more. */
  async fail({ jobId, lease }: JobLease, why: string): Promise<JobState | null> {
    const { nowS } = this.#context;
    const reason = why.slice(0, 2000) || `no reason was told at ${new Date(nowS() * 1000).toISOString()}`;
    const row = await this.#held(jobId, lease)
      .set((eb) => ({
        reason,
        lease: null,
        lease_until_s: null,
        state: eb.case().when('tries', '>=', mostTries).then('parked').else('waiting').end() as Expression<JobState>,
        ended_s: eb.case().when('tries', '>=', mostTries).then(this.#nowS()).else(null).end(),
        not_before_s: sql<number>`${this.#nowS()} + ${sql.lit(retryS)} * tries * tries`,
      }))
      .returning('state')
      .executeTakeFirst();
    return row?.state ?? null;
  }

  /** Gives it back as it was: the worker is to end. */
  async giveBack({ jobId, lease }: JobLease): Promise<void> {
    await this.#held(jobId, lease)
      .set((eb) => ({
        ...{ state: 'waiting' as const, lease: null, lease_until_s: null, share: 0, not_before_s: 0 },
        tries: eb('tries', '-', 1),
      }))
      .execute();
  }

  /**
   * Ends it as done, in the transaction in which its result is stored: both or none.
   *
   * @param words what was done, where that is not what was asked for.
   * @throws LeaseLostError where it was stopped, or another worker has it or has done it.
   */
  async done(
    trx: Transaction<Tables>,
    { jobId, lease }: JobLease,
    counts: Job['counts'],
    words?: unknown,
  ): Promise<void> {
    const ended = this.#held(jobId, lease, trx).set({
      ...(words !== undefined && { words: JSON.stringify(words) }),
      ...{ state: 'done', share: 1, reason: null, lease_until_s: null, counts: JSON.stringify(counts) },
      ended_s: this.#nowS(),
    });
    if ((await ended.executeTakeFirst()).numUpdatedRows === 0n) throw new LeaseLostError();
  }

  /** @throws SeamwiseError `store-missing`. */
  async get(id: string): Promise<Job> {
    const row = await this.#jobs().where('job.id', '=', id).executeTakeFirst();
    if (!row) throw missing('piece of work', id);
    return jobOf(row);
  }

  /** @returns pieces, newest first; those that are open or put aside before all others. */
  async list(limit = 100): Promise<Job[]> {
    const rows = await this.#jobs()
      .orderBy(sql`case job.state when 'running' then 0 when 'parked' then 1 when 'waiting' then 2 else 3 end`)
      .orderBy('job.asked_s', 'desc')
      .orderBy('job.id', 'desc')
      .limit(limit)
      .execute();
    return rows.map(jobOf);
  }

  /** @returns how many pieces there are in each state. */
  async counts(): Promise<Readonly<Record<JobState, number>>> {
    const { db, clubId } = this.#context;
    const rows = await db
      .selectFrom('job')
      .select(['state', ({ fn }) => fn.countAll().as('count')])
      .where('club_id', '=', clubId)
      .groupBy('state')
      .execute();
    const counts = { waiting: 0, running: 0, done: 0, parked: 0, stopped: 0 };
    for (const { state, count } of rows) counts[state] = Number(count);
    return counts;
  }

  /** @returns sessions whose recordings this version of the analysis has gone through here, and that were not handed over anew since. */
  async analysed(analysisVersion: string): Promise<ReadonlySet<string>> {
    const { db, clubId } = this.#context;
    const rows = await db
      .selectFrom('job')
      .innerJoin('hub_recording', (join) =>
        join.onRef('hub_recording.id', '=', 'job.subject').onRef('hub_recording.club_id', '=', 'job.club_id'),
      )
      .select('job.subject')
      .where('job.club_id', '=', clubId)
      .where('job.kind', '=', 'reanalysis')
      .where('job.state', '=', 'done')
      .where('job.words', '=', JSON.stringify({ analysisVersion }))
      .whereRef('hub_recording.complete_s', '<=', 'job.ended_s')
      .execute();
    return new Set(rows.map(({ subject }) => subject));
  }

  /** Stops a piece that has not ended; a worker that has it finds out at its next renewal, and stores nothing. @throws SeamwiseError `store-missing`. */
  async stop(id: string): Promise<Job> {
    const { db, clubId } = this.#context;
    await db
      .updateTable('job')
      .set({ state: 'stopped', lease: null, lease_until_s: null, ended_s: this.#nowS() })
      .where('club_id', '=', clubId)
      .where('id', '=', id)
      .where('state', 'in', ['waiting', 'running', 'parked'])
      .execute();
    return this.get(id);
  }

  /** Has a piece that was put aside or stopped tried again from the start. @throws SeamwiseError `store-missing`, `store-taken`. */
  async tryAgain(id: string): Promise<Job> {
    const { db, clubId } = this.#context;
    const { kind, subject } = await this.get(id);
    const open = db.selectFrom('job').select('id').where('club_id', '=', clubId).where('kind', '=', kind);
    const other = await open
      .where('subject', '=', subject)
      .where('id', '!=', id)
      .where('state', 'in', ['waiting', 'running'])
      .executeTakeFirst();
    if (other) throw new SeamwiseError('store-taken', 'the same is to be done already: wait for it, or stop it');
    await db
      .updateTable('job')
      .set({ ...{ state: 'waiting', tries: 0, not_before_s: 0, ended_s: null, share: 0, reason: null } })
      .where('club_id', '=', clubId)
      .where('id', '=', id)
      .where('state', 'in', ['parked', 'stopped'])
      .execute();
    return this.get(id);
  }

  /** Lets go what could be fetched of exports that ended long ago. That a recording was gone through is remembered. */
  async forgetOld(): Promise<void> {
    const { db, clubId } = this.#context;
    await db
      .deleteFrom('job')
      .where('club_id', '=', clubId)
      .where('kind', '=', 'export')
      .where('state', 'in', ['done', 'stopped'])
      .where('ended_s', '<', this.#nowS(-exportsKeptS))
      .execute();
  }

  /** Two workers that died with it may have been its own doing. */
  async #parkSilent(): Promise<void> {
    const { db, clubId } = this.#context;
    await db
      .updateTable('job')
      .set({ state: 'parked', reason: `${silent}, ${mostTries} times`, lease: null, ended_s: this.#nowS() })
      .where('club_id', '=', clubId)
      .where('state', '=', 'running')
      .where('lease_until_s', '<', this.#nowS())
      .where('tries', '>=', mostTries)
      .execute();
  }

  #jobs() {
    const { db, clubId } = this.#context;
    return db
      .selectFrom('job')
      .leftJoin('session', (join) =>
        join
          .onRef('session.id', '=', 'job.subject')
          .onRef('session.club_id', '=', 'job.club_id')
          .on('job.kind', '=', 'reanalysis'),
      )
      .selectAll('job')
      .select(['session.name as session_name', 'session.started_s as session_started_s'])
      .where('job.club_id', '=', clubId);
  }

  #held(jobId: string, lease: string, db: Pick<StoreContext['db'], 'updateTable'> = this.#context.db) {
    return db
      .updateTable('job')
      .where('club_id', '=', this.#context.clubId)
      .where('id', '=', jobId)
      .where('lease', '=', lease)
      .where('state', '=', 'running');
  }

  #filesOf(jobId: string) {
    return this.#context.db
      .deleteFrom('job_file')
      .where('club_id', '=', this.#context.clubId)
      .where('job_id', '=', jobId);
  }

  /** Now, or so many seconds from now, by the clock that all workers share. */
  #nowS(inS = 0): Expression<number> {
    const { nowS } = this.#context;
    return this.#isPostgres
      ? sql<number>`(extract(epoch from clock_timestamp())::float8 + ${sql.lit(inS)})`
      : sql<number>`${nowS() + inS}`;
  }
}

/** The piece is not the worker's any more: what it did does not count. */
export class LeaseLostError extends Error {
  constructor() {
    super('the work was stopped, or given to another worker');
  }
}

interface JobRow extends Selectable<JobTable> {
  readonly session_name: string | null;
  readonly session_started_s: number | null;
}

function jobOf({ club_id: _, lease: __, session_name: name, session_started_s: startedS, ...row }: JobRow): Job {
  const session = name === null || startedS === null ? null : { name, startedS };
  return { ...row, session, words: JSON.parse(row.words), counts: JSON.parse(row.counts) as Job['counts'] };
}
