import { type Kysely, type Migration, Migrator, sql } from 'kysely';
import { SeamwiseError } from '../../foundation/errors.ts';
import { firstTables } from './migrations/001-first-tables.ts';
import { toldDocuments } from './migrations/002-told-documents.ts';
import { analysedVersion } from './migrations/003-analysed-version.ts';
import { rotationsAndMarks } from './migrations/004-rotations-and-marks.ts';
import { correctionsAndRuns } from './migrations/005-corrections-and-runs.ts';
import { coachingTables } from './migrations/006-coaching.ts';
import { oneCurrentResult } from './migrations/007-one-current-result.ts';
import { shotsByMonth } from './migrations/008-shots-by-month.ts';
import { changeLog } from './migrations/009-change-log.ts';
import { jobs } from './migrations/010-jobs.ts';
import { playersOfExports } from './migrations/011-players-of-exports.ts';
import { handedCoaching } from './migrations/012-handed-coaching.ts';
import type { StoreEngine } from './store-engine.ts';
import type { Tables } from './tables.ts';

type EngineKind = StoreEngine['kind'];

/** Every step the tables have taken, in order. Steps are only ever added; a step that was published never changes. */
const everySteps: Readonly<Record<string, Migration>> = {
  '001-first-tables': firstTables,
  '002-told-documents': toldDocuments,
  '003-analysed-version': analysedVersion,
  '004-rotations-and-marks': rotationsAndMarks,
  '005-corrections-and-runs': correctionsAndRuns,
  '006-coaching': coachingTables,
  '007-one-current-result': oneCurrentResult,
  '008-shots-by-month': shotsByMonth,
  '009-change-log': changeLog,
  '010-jobs': jobs,
  '011-players-of-exports': playersOfExports,
  '012-handed-coaching': handedCoaching,
};

/** Steps that one engine alone takes. */
const stepsOfOne: Readonly<Record<string, EngineKind>> = { '008-shots-by-month': 'postgres' };

/** @returns the steps of an engine, in order. */
export function migrationsOf(kind: EngineKind): Readonly<Record<string, Migration>> {
  return Object.fromEntries(Object.entries(everySteps).filter(([name]) => (stepsOfOne[name] ?? kind) === kind));
}

/** @returns names of the steps that the database has not taken yet. */
export async function pendingMigrations(db: Kysely<Tables>, kind: EngineKind): Promise<string[]> {
  const migrations = migrationsOf(kind);
  const done = await doneMigrations(db, kind);
  const unknown = done.filter((name) => !(name in migrations));
  if (unknown.length > 0 && unknown.length === done.length) {
    throw new SeamwiseError(
      'database-unusable',
      `expected a database of this program, found the steps of another one: ${unknown.slice(0, 5).join(', ')}. Nothing was changed: name another database.`,
    );
  }
  if (unknown.length > 0) {
    throw new SeamwiseError(
      'database-version',
      `the database was written by a newer version of the program: expected steps up to ${Object.keys(migrations).at(-1)}, found ${unknown.join(', ')}. Install that version, or restore a backup from before it.`,
    );
  }
  return Object.keys(migrations).filter((name) => !done.includes(name));
}

/**
 * Takes the steps that are missing, all or none.
 *
 * @param upTo last step to take; all by default.
 * @throws SeamwiseError `database-version` when a newer program wrote the database.
 */
export async function migrate(db: Kysely<Tables>, kind: EngineKind, upTo?: string): Promise<void> {
  await pendingMigrations(db, kind);
  const migrator = new Migrator({ db, provider: { getMigrations: async () => ({ ...migrationsOf(kind) }) } });
  const { error } = upTo === undefined ? await migrator.migrateToLatest() : await migrator.migrateTo(upTo);
  if (error) throw error;
}

async function doneMigrations(db: Kysely<Tables>, kind: EngineKind): Promise<string[]> {
  const table = await (kind === 'sqlite'
    ? sql`select 1 from sqlite_master where name = 'kysely_migration'`
    : sql`select 1 where to_regclass('kysely_migration') is not null`
  ).execute(db);
  if (table.rows.length === 0) return [];
  // The table is kysely's own and not among ours.
  const rows = await (db as unknown as Kysely<{ kysely_migration: { name: string } }>)
    .selectFrom('kysely_migration')
    .select('name')
    .orderBy('name')
    .execute();
  return rows.map(({ name }) => name);
}
