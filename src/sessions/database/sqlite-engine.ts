import { accessSync, closeSync, constants, existsSync, fsyncSync, openSync, renameSync, rmSync } from 'node:fs';
import path from 'node:path';
import { type Kysely, sql } from 'kysely';
import { SeamwiseError } from '../../foundation/errors.ts';
import { migrate, pendingMigrations } from './migrate.ts';
import { newId } from './new-id.ts';
import { openSqlite } from './open-sqlite.ts';
import { QueryNotes } from './query-notes.ts';
import type { SqliteAccess } from './sqlite-access.ts';
import { kyselyOver } from './sqlite-dialect.ts';
import { SqliteThread } from './sqlite-thread.ts';
import type { StoreEngine } from './store-engine.ts';
import type { Tables } from './tables.ts';

/**
 * Opens a database file, or makes it, and brings it up to date; before that a copy of the old one is laid beside it.
 *
 * @param file path, or `:memory:`.
 * @throws SeamwiseError `database-unusable` or `database-version`.
 */
export async function openSqliteEngine(file: string, nowS: () => number, inThread: boolean): Promise<StoreEngine> {
  const isNew = file === ':memory:' || !existsSync(file);
  let access: SqliteAccess;
  try {
    access = inThread ? await SqliteThread.open(file) : openSqlite(file);
  } catch (error) {
    throw openingTrouble(file, error);
  }
  const notes = new QueryNotes();
  const db = kyselyOver(access, (query) => notes.take(query));
  let clubId: string;
  try {
    const pending = await pendingMigrations(db, 'sqlite');
    if (pending.length > 0) {
      if (!isNew) await copyTo(db, `${file}.before-${pending[0]}`);
      await migrate(db, 'sqlite');
    }
    clubId = await onlyClub(db, nowS());
  } catch (error) {
    await db.destroy();
    throw error instanceof SeamwiseError ? error : openingTrouble(file, error);
  }
  return {
    kind: 'sqlite',
    clubId,
    db,
    // A transaction takes the one right to write at its beginning (`AccessDriver`), whatever it is going to touch.
    write: (work) => db.transaction().execute(work),
    backupTo: (target) => copyTo(db, target),
    async scrub() {
      // Deleted rows stay readable in free pages and in the write-ahead log until these are written anew.
      await sql`vacuum`.execute(db);
      await sql`pragma wal_checkpoint(truncate)`.execute(db);
    },
    async plansOf(work) {
      const plans = [];
      for (const { sql: text } of await notes.during(work)) {
        // Values do not matter to a plan that looks at names alone.
        const explained = await sql.raw<{ readonly detail: string }>(`explain query plan ${text}`).execute(db);
        plans.push({ sql: text, plan: explained.rows.map(({ detail }) => detail) });
      }
      return plans;
    },
    close: () => db.destroy(),
  };
}

/** @returns what is wrong with the database's file or the disk that it lies on, and what to do. */
export function openingTrouble(file: string, error: unknown): SeamwiseError {
  const why = error instanceof Error ? error.message : String(error);
  const isFull = /disk is full|ENOSPC|no space/i.test(why);
  const isReadOnly = /readonly|read-only|EROFS|EACCES|EPERM/i.test(why) || !canWriteBeside(file);
  const remedy = isFull
    ? 'Free some space on that disk.'
    : isReadOnly
      ? 'It lies where nothing can be written: make the folder writable or name another data folder. Nothing is lost.'
      : 'Restore a backup or name another data folder.';
  return new SeamwiseError(
    'database-unusable',
    `database ${file}: expected a database of this program that can be written, got: ${why}. ${remedy}`,
  );
}

function canWriteBeside(file: string): boolean {
  try {
    accessSync(path.dirname(file), constants.W_OK);
    return true;
  } catch {
    return false;
  }
}

/** A copy is there as a whole, on the disk, or not at all. */
async function copyTo(db: Kysely<Tables>, file: string): Promise<void> {
  if (existsSync(file)) return;
  const part = `${file}.part`;
  rmSync(part, { force: true });
  try {
    await sql.raw(`vacuum into '${part.replaceAll("'", "''")}'`).execute(db);
    const descriptor = openSync(part, 'r+');
    try {
      fsyncSync(descriptor);
    } finally {
      closeSync(descriptor);
    }
    renameSync(part, file);
  } catch (error) {
    rmSync(part, { force: true });
    throw error;
  }
}

/** A file holds one club, which comes with it. */
async function onlyClub(db: Kysely<Tables>, nowS: number): Promise<string> {
  const known = (of: Kysely<Tables>) => of.selectFrom('club').select('id').orderBy('created_s').executeTakeFirst();
  const club = await known(db);
  if (club) return club.id;
  return db.transaction().execute(async (trx) => {
    // Another program may have opened the new file at the same time.
    const other = await known(trx);
    if (other) return other.id;
    const id = newId(nowS);
    await trx.insertInto('club').values({ id, name: 'This club', created_s: nowS }).execute();
    return id;
  });
}
