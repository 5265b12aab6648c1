import type { SqliteAnswer } from './sqlite-access.ts';

/** What a thread that holds a database is started with. */
export interface SqliteThreadStart {
  readonly file: string;
}

/** To the thread: sentences, answered in their order, and at last `close`. */
export type ToSqliteThread =
  | { readonly kind: 'run'; readonly sql: string; readonly values: readonly unknown[] }
  | { readonly kind: 'close' };

/** From the thread: first whether the database could be opened, then one answer a message. */
export type FromSqliteThread =
  | { readonly kind: 'done'; readonly answer: SqliteAnswer | null }
  | { readonly kind: 'failed'; readonly why: string };
