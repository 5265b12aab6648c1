import { type DialectAdapter, Kysely, SqliteAdapter, SqliteDialect } from 'kysely';
import type { OpenedSqlite } from './open-sqlite.ts';
import type { Tables } from './tables.ts';

/**
 * SQLite as it is: a transaction holds changes of tables too (SQLite documentation, "CREATE TABLE" within "Transaction").
 * Kysely's own dialect says that it does not, and takes the steps of the tables one by one: one that failed or was killed would
 * then leave half a step behind, over which no later start would come.
 */
class TransactionalDialect extends SqliteDialect {
  override createAdapter(): DialectAdapter {
    return new TransactionalAdapter();
  }
}

class TransactionalAdapter extends SqliteAdapter {
  override get supportsTransactionalDdl(): boolean {
    return true;
  }
}

/** @returns the tables of an open database. */
export function kyselyOver(database: OpenedSqlite): Kysely<Tables> {
  return new Kysely<Tables>({ dialect: new TransactionalDialect({ database }) });
}
