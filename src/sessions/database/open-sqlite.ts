import { createRequire } from 'node:module';
import type { SqliteDatabase, SqliteStatement } from 'kysely';

/** What is used of SQLite: the interface of `node:sqlite`, whichever package gives it. */
interface SyncDatabase {
  exec(sql: string): void;
  prepare(sql: string): SyncStatement;
  close(): void;
}

interface SyncStatement {
  all(...values: unknown[]): unknown[];
  run(...values: unknown[]): { changes: number | bigint; lastInsertRowid: number | bigint };
  iterate(...values: unknown[]): IterableIterator<unknown>;
  columns(): unknown[];
}

/** First version of Node whose own SQLite is finished; before it a package with the same interface serves. */
const ownSqliteSince = 24;

/** Statements kept ready; queries of one program are few. */
const keptStatements = 200;

/** An open database for kysely, and for the few sentences that are no queries. */
export interface OpenedSqlite extends SqliteDatabase {
  exec(sql: string): void;
}

/**
 * Opens a database file, or makes it.
 *
 * A commit is on the disk when it returns (write-ahead log, `synchronous = full`), and foreign keys are kept.
 *
 * @param file path, or `:memory:`.
 * @throws what SQLite says when the file cannot be opened or is no database.
 */
export function openSqlite(file: string): OpenedSqlite {
  const database = new (databaseClass())(file);
  try {
    for (const pragma of ['busy_timeout = 5000', 'journal_mode = wal', 'synchronous = full', 'foreign_keys = on']) {
      database.exec(`pragma ${pragma}`);
    }
  } catch (error) {
    database.close();
    throw error;
  }
  const ready = new Map<string, SqliteStatement>();
  return {
    exec: (sql) => database.exec(sql),
    close: () => database.close(),
    prepare(sql) {
      let statement = ready.get(sql);
      if (!statement) {
        statement = adapt(database.prepare(sql));
        if (ready.size >= keptStatements) ready.delete(ready.keys().next().value as string);
        ready.set(sql, statement);
      }
      return statement;
    },
  };
}

function adapt(statement: SyncStatement): SqliteStatement {
  return {
    reader: statement.columns().length > 0,
    all: (values) => statement.all(...values),
    run: (values) => statement.run(...values),
    iterate: (values) => statement.iterate(...values),
  };
}

function databaseClass(): new (file: string) => SyncDatabase {
  const major = Number(process.versions.node.split('.')[0]);
  const name = major >= ownSqliteSince ? 'node:sqlite' : '@photostructure/sqlite';
  return createRequire(import.meta.url)(name).DatabaseSync;
}
