import { accessSync, closeSync, constants, existsSync, fsyncSync, openSync, renameSync, rmSync } from 'node:fs';
import path from 'node:path';
import { type Kysely, sql } from 'kysely';
import { SeamwiseError } from '../../foundation/errors.ts';
import { AnalysisRunRecords } from './analysis-run-records.ts';
import { CoachingRecords } from './coaching-records.ts';
import { EditLog } from './edit-log.ts';
import { erasePlayerRows } from './erase-player.ts';
import { type ImportedSession, importSession } from './import-session.ts';
import { KeepRecords } from './keep-records.ts';
import { MarkRecords } from './mark-records.ts';
import { migrate, pendingMigrations } from './migrate.ts';
import { newId } from './new-id.ts';
import { openSqlite } from './open-sqlite.ts';
import { PlayerRecords } from './player-records.ts';
import { PrescriptionRecords } from './prescription-records.ts';
import { type RecordedTraces, recordedTraces } from './recorded-traces.ts';
import { RotationRecords } from './rotation-records.ts';
import { SessionRecords } from './session-records.ts';
import { ShotRecords } from './shot-records.ts';
import type { SqliteAccess } from './sqlite-access.ts';
import { kyselyOver } from './sqlite-dialect.ts';
import { SqliteThread } from './sqlite-thread.ts';
import type { Actor, StoreContext } from './store-context.ts';
import { StudyRecords } from './study-records.ts';
import type { Tables } from './tables.ts';
import { TimeCorrectionRecords } from './time-correction-records.ts';

export interface ClubStoreOptions {
  /** Path of the database file, or `:memory:`. */
  readonly file: string;
  /** Seconds since the Unix epoch. */
  readonly nowS: () => number;
  /** Whether the database is held by a thread of its own, so that nothing else here waits for the disk; default no. */
  readonly inThread?: boolean;
}

/** The database of one club: players, sessions, shots, and who changed what. */
export class ClubStore {
  readonly clubId: string;
  readonly edits: EditLog;
  readonly players: PlayerRecords;
  readonly sessions: SessionRecords;
  readonly shots: ShotRecords;
  readonly rotations: RotationRecords;
  readonly marks: MarkRecords;
  readonly corrections: TimeCorrectionRecords;
  readonly runs: AnalysisRunRecords;
  readonly keep: KeepRecords;
  readonly coaching: CoachingRecords;
  readonly prescriptions: PrescriptionRecords;
  readonly studies: StudyRecords;
  readonly #context: StoreContext;
  readonly #db: Kysely<Tables>;
  readonly #queries: QueryNotes;

  private constructor(db: Kysely<Tables>, queries: QueryNotes, clubId: string, nowS: () => number) {
    this.#db = db;
    this.#queries = queries;
    this.clubId = clubId;
    const context = { db, clubId, nowS };
    this.#context = context;
    this.edits = new EditLog(context);
    this.players = new PlayerRecords(context, this.edits);
    this.sessions = new SessionRecords(context, this.edits, this.players);
    this.shots = new ShotRecords(context, this.edits, this.players);
    this.rotations = new RotationRecords(context, this.edits, this.players);
    this.marks = new MarkRecords(context, this.edits);
    this.corrections = new TimeCorrectionRecords(context, this.edits);
    this.runs = new AnalysisRunRecords(context);
    this.keep = new KeepRecords(context, this.edits);
    this.coaching = new CoachingRecords(context, this.edits, this.players);
    this.prescriptions = new PrescriptionRecords(context, this.edits, this.players);
    this.studies = new StudyRecords(context, this.edits, this.players);
  }

  /**
   * Opens the database and brings it up to date; before that a copy of the old one is laid beside it.
   *
   * @throws SeamwiseError `database-unusable` when the file is no database or cannot be used, `database-version` when a
   * newer program wrote it.
   */
  static async open({ file, nowS, inThread = false }: ClubStoreOptions): Promise<ClubStore> {
    const isNew = file === ':memory:' || !existsSync(file);
    let access: SqliteAccess;
    try {
      access = inThread ? await SqliteThread.open(file) : openSqlite(file);
    } catch (error) {
      throw openingTrouble(file, error);
    }
    const queries: QueryNotes = { noted: null };
    const db = kyselyOver(access, (text) => queries.noted?.add(text));
    try {
      const pending = await pendingMigrations(db);
      if (pending.length > 0) {
        if (!isNew) await copyTo(db, `${file}.before-${pending[0]}`);
        await migrate(db);
      }
      return new ClubStore(db, queries, await firstClub(db, nowS()), nowS);
    } catch (error) {
      await db.destroy();
      throw error instanceof SeamwiseError ? error : openingTrouble(file, error);
    }
  }

  /** @returns value of a setting of the open connection, as SQLite tells it. */
  async pragma(name: string): Promise<unknown> {
    const [row] = (await sql.raw<Record<string, unknown>>(`pragma ${name}`).execute(this.#db)).rows;
    return row && Object.values(row)[0];
  }

  /** @returns every query that `work` makes, with the plan by which SQLite carries it out. */
  async plansOf(work: () => Promise<unknown>): Promise<{ readonly sql: string; readonly plan: readonly string[] }[]> {
    const noted = new Set<string>();
    this.#queries.noted = noted;
    await work();
    this.#queries.noted = null;
    const plans: { readonly sql: string; readonly plan: readonly string[] }[] = [];
    for (const text of [...noted].filter((each) => /^(select|with) /i.test(each))) {
      // Values do not matter to a plan that looks at names alone.
      const explained = sql.raw<{ readonly detail: string }>(`explain query plan ${text}`);
      plans.push({ sql: text, plan: (await explained.execute(this.#db)).rows.map(({ detail }) => detail) });
    }
    return plans;
  }

  /** Lays a copy of the database as it is now into a new file, while it goes on being used. */
  backupTo(file: string): Promise<void> {
    return copyTo(this.#db, file);
  }

  /** Stores a session that was recorded elsewhere: all of it or nothing. @returns the id. @throws SeamwiseError `store-value`. */
  importSession(actor: Actor, imported: ImportedSession): Promise<string> {
    return importSession(this.#context, this.edits, actor, imported);
  }

  /** @returns where a player's shots lie in recordings; ask before the rows are erased. */
  tracesOf(playerId: string): Promise<RecordedTraces[]> {
    return recordedTraces(this.#context, playerId);
  }

  /**
   * Deletes everything of a player from the database, past undo and star, and leaves nothing of it in the file.
   * Recordings are not touched.
   */
  async erasePlayer(playerId: string): Promise<void> {
    await this.#db.transaction().execute((trx) => erasePlayerRows(trx, playerId));
    // Deleted rows stay readable in free pages and in the write-ahead log until these are written anew.
    await sql`vacuum`.execute(this.#db);
    await sql`pragma wal_checkpoint(truncate)`.execute(this.#db);
  }

  close(): Promise<void> {
    return this.#db.destroy();
  }
}

/** Where the texts of queries are noted, while somebody wants to know them. */
interface QueryNotes {
  noted: Set<string> | null;
}

/** @returns what is wrong with the database's file or the disk that it lies on, and what to do. */
function openingTrouble(file: string, error: unknown): SeamwiseError {
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

async function firstClub(db: Kysely<Tables>, nowS: number): Promise<string> {
  const club = await db.selectFrom('club').select('id').orderBy('created_s').executeTakeFirst();
  if (club) return club.id;
  const id = newId(nowS);
  await db.insertInto('club').values({ id, name: 'This club', created_s: nowS }).execute();
  return id;
}
