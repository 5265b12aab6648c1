import { type Kysely, type Migration, sql } from 'kysely';

/** One current result a shot, and a sensor within its club: the database itself sees to both. */
export const oneCurrentResult: Migration = {
  async up(db: Kysely<unknown>): Promise<void> {
    // There should be none; the newest stays current, and no start of the program fails over it.
    await sql`
      update shot_result set is_current = 0
      where is_current = 1 and exists (
        select 1 from shot_result as newer
        where newer.shot_id = shot_result.shot_id and newer.is_current = 1 and newer.id > shot_result.id)`.execute(db);
    await sql`create unique index result_current on shot_result (shot_id) where is_current = 1`.execute(db);
    await db.schema.createIndex('sensor_by_club').unique().on('sensor').columns(['club_id', 'id']).execute();
  },
};
