import type { Kysely, Transaction } from 'kysely';
import type { Tables } from './tables.ts';

/** What a change may touch: without a session, anything of the club; with one, what is added to that session alone. */
export interface WriteScope {
  readonly sessionId?: string;
}

/** A change: all of it or nothing. It may be carried out anew, so it keeps nothing outside of itself but by assignment. */
export type Write<Result> = (trx: Transaction<Tables>) => Promise<Result>;

/** The database behind the store of one club. */
export interface StoreEngine {
  readonly kind: 'sqlite' | 'postgres';
  readonly clubId: string;
  readonly db: Kysely<Tables>;
  /**
   * Carries out a change, which is on the disk when this resolves. No other change of the same club runs beside it, in this process or
   * another, so that what it reads stays true until it ends; changes of different sessions that only add to theirs may run side by side.
   */
  write<Result>(work: Write<Result>, scope?: WriteScope): Promise<Result>;
  /** Lays a copy of the database into a new file. @throws SeamwiseError `database-unusable` where another program has to do it. */
  backupTo(file: string): Promise<void>;
  /** Does what the engine can for deleted rows to be gone from its files too. */
  scrub(): Promise<void>;
  /** @returns every query that `work` makes, with the plan by which it is carried out. */
  plansOf(work: () => Promise<unknown>): Promise<readonly QueryPlan[]>;
  close(): Promise<void>;
}

export interface QueryPlan {
  readonly sql: string;
  readonly plan: readonly string[];
}
