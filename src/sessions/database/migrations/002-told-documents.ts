import type { Kysely, Migration } from 'kysely';

/** What clients were told of a shot, so that those who come back after a restart miss none. */
export const toldDocuments: Migration = {
  async up(db: Kysely<unknown>): Promise<void> {
    await db.schema.alterTable('shot').addColumn('told_seq', 'bigint').execute();
    await db.schema.alterTable('shot').addColumn('told_head', 'text').execute();
    await db.schema.createIndex('shot_by_told').on('shot').columns(['club_id', 'told_seq']).execute();
  },
};
