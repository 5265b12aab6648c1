import { createRequire } from 'node:module';
import type { SqliteAccess, SqliteAnswer } from './sqlite-access.ts';

/** What is used of SQLite: the interface of `node:sqlite`, whichever package gives it. */
interface SyncDatabase {
  exec(sql: string): void;
  prepare(sql: string): SyncStatement;
  close(): void;
}

interface SyncStatement {
  all(...values: unknown[]): unknown[];
  run(...values: unknown[]): { changes: number | bigint; lastInsertRowid: number | bigint };
  columns(): unknown[];
}

/** First version of Node whose own SQLite is finished; before it a package with the same interface serves. */
const ownSqliteSince = 24;

/** Statements kept ready; queries of one program are few. */
const keptStatements = 200;

/** A sentence that was read once and may be carried out often. */
export interface SqliteStatement {
  /** Whether it gives rows. */
  readonly reader: boolean;
  all(values: readonly unknown[]): unknown[];
  run(values: readonly unknown[]): { changes: number | bigint; lastInsertRowid: number | bigint };
}

/** An open database in this thread. */
export interface OpenedSqlite extends SqliteAccess {
  run(sql: string, values: readonly unknown[]): SqliteAnswer;
  prepare(sql: string): SqliteStatement;
  exec(sql: string): void;
  close(): void;
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
  const prepare = (sql: string): SqliteStatement => {
    const known = ready.get(sql);
    if (known) return known;
    const statement = adapt(database.prepare(sql));
    if (ready.size >= keptStatements) ready.delete(ready.keys().next().value as string);
    ready.set(sql, statement);
    return statement;
  };
  return {
    prepare,
    run(sql, values) {
      const statement = prepare(sql);
      if (statement.reader) return { rows: statement.all(values), changed: null };
      const { changes, lastInsertRowid } = statement.run(values);
      return { rows: [], changed: { count: changes, lastId: lastInsertRowid } };
    },
    exec: (sql) => database.exec(sql),
    close() {
      leaveLog(database);
      database.close();
    },
  };
}

/**
 * Brings what stands in the write-ahead log into the database and does away with the log, where no other program has the database
 * open. Closing alone would not do it with the package: statements that were not yet collected keep its connection alive, and a log
 * that it deletes by name, whenever that may be, could by then be another's.
 */
function leaveLog(database: SyncDatabase): void {
  try {
    // Another program that has it open keeps the log; it is not to be waited for.
    database.exec('pragma busy_timeout = 0');
    database.exec('pragma wal_checkpoint(truncate)');
    database.exec('pragma journal_mode = delete');
  } catch {
    // Used by another, or a disk that takes nothing: the log stays, and the next who opens the database reads it.
  }
}

function adapt(statement: SyncStatement): SqliteStatement {
  return {
    reader: statement.columns().length > 0,
    all: (values) => statement.all(...values),
    run: (values) => statement.run(...values),
  };
}

function databaseClass(): new (file: string) => SyncDatabase {
  const major = Number(process.versions.node.split('.')[0]);
  const name = major >= ownSqliteSince ? 'node:sqlite' : '@photostructure/sqlite';
  return createRequire(import.meta.url)(name).DatabaseSync;
}
