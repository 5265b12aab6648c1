import type { Kysely, Migration } from 'kysely';

/** Which version of the analysis has gone through a session's recording as a whole. */
export const analysedVersion: Migration = {
  async up(db: Kysely<unknown>): Promise<void> {
    await db.schema.alterTable('session').addColumn('analysed_version', 'text').execute();
  },
};
