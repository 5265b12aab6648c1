import { type Kysely, type Migration, Migrator } from 'kysely';
import { SeamwiseError } from '../../foundation/errors.ts';
import { firstTables } from './migrations/001-first-tables.ts';
import { toldDocuments } from './migrations/002-told-documents.ts';
import { analysedVersion } from './migrations/003-analysed-version.ts';
import { rotationsAndMarks } from './migrations/004-rotations-and-marks.ts';
import { correctionsAndRuns } from './migrations/005-corrections-and-runs.ts';
import { coachingTables } from './migrations/006-coaching.ts';
import type { Tables } from './tables.ts';

/** Every step the tables have taken, in order. Steps are only ever added; a step that was published never changes. */
export const migrations: Readonly<Record<string, Migration>> = {
  '001-first-tables': firstTables,
  '002-told-documents': toldDocuments,
  '003-analysed-version': analysedVersion,
  '004-rotations-and-marks': rotationsAndMarks,
  '005-corrections-and-runs': correctionsAndRuns,
  '006-coaching': coachingTables,
};

/** @returns names of the steps that the database has not taken yet. */
export async function pendingMigrations(db: Kysely<Tables>): Promise<string[]> {
  const done = await doneMigrations(db);
  const unknown = done.filter((name) => !(name in migrations));
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
export async function migrate(db: Kysely<Tables>, upTo?: string): Promise<void> {
  await pendingMigrations(db);
  const migrator = new Migrator({ db, provider: { getMigrations: async () => ({ ...migrations }) } });
  const { error } = upTo === undefined ? await migrator.migrateToLatest() : await migrator.migrateTo(upTo);
  if (error) throw error;
}

async function doneMigrations(db: Kysely<Tables>): Promise<string[]> {
  const tables = await db.introspection.getTables({ withInternalKyselyTables: true });
  if (!tables.some(({ name }) => name === 'kysely_migration')) return [];
  // The table is kysely's own and not among ours.
  const rows = await (db as unknown as Kysely<{ kysely_migration: { name: string } }>)
    .selectFrom('kysely_migration')
    .select('name')
    .orderBy('name')
    .execute();
  return rows.map(({ name }) => name);
}
