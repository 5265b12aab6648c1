import type { Kysely, Migration } from 'kysely';

/** Times of shots that people set by hand, and who had recordings gone through again. */
export const correctionsAndRuns: Migration = {
  async up(db: Kysely<unknown>): Promise<void> {
    const { schema } = db;
    await schema
      .createTable('time_correction')
      .addColumn('id', 'text', (c) => c.primaryKey())
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addColumn('shot_id', 'text', (c) => c.notNull().references('shot.id'))
      .addColumn('phase', 'text', (c) => c.notNull())
      .addColumn('sensor_id', 'text')
      .addColumn('stream_index', 'integer', (c) => c.notNull())
      .addColumn('time_s', 'double precision', (c) => c.notNull())
      .addColumn('resolution_s', 'double precision', (c) => c.notNull())
      .addColumn('made_s', 'double precision', (c) => c.notNull())
      .addColumn('by_role', 'text', (c) => c.notNull())
      .addColumn('by_name', 'text', (c) => c.notNull())
      .addUniqueConstraint('time_correction_once', ['shot_id', 'phase'])
      .execute();
    await schema
      .createTable('analysis_run')
      .addColumn('id', 'text', (c) => c.primaryKey())
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addColumn('session_id', 'text', (c) => c.notNull().references('session.id'))
      .addColumn('analysis_version', 'text', (c) => c.notNull())
      .addColumn('by_role', 'text', (c) => c.notNull())
      .addColumn('by_name', 'text', (c) => c.notNull())
      .addColumn('made_s', 'double precision', (c) => c.notNull())
      .addColumn('again', 'integer', (c) => c.notNull())
      .addColumn('changed', 'integer', (c) => c.notNull())
      .addColumn('added', 'integer', (c) => c.notNull())
      .addColumn('absorbed', 'integer', (c) => c.notNull())
      .addColumn('not_found', 'integer', (c) => c.notNull())
      .execute();
    await schema.createIndex('analysis_run_by_session').on('analysis_run').columns(['session_id', 'made_s']).execute();
  },
};
