import { type Kysely, type Migration, PostgresAdapter, sql } from 'kysely';

/** Work for any machine, what came of it, and an index for what courts ask of their hub all the time. */
export const jobs: Migration = {
  async up(db: Kysely<unknown>): Promise<void> {
    const isPostgres = db.getExecutor().adapter instanceof PostgresAdapter;
    const { schema } = db;
    await schema
      .createTable('job')
      .addColumn('id', 'text', (c) => c.notNull())
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addPrimaryKeyConstraint('job_once', ['club_id', 'id'])
      .addColumn('kind', 'text', (c) => c.notNull())
      .addColumn('subject', 'text', (c) => c.notNull())
      .addColumn('words', 'text', (c) => c.notNull())
      .addColumn('state', 'text', (c) => c.notNull())
      .addColumn('by_role', 'text', (c) => c.notNull())
      .addColumn('by_name', 'text', (c) => c.notNull())
      .addColumn('asked_s', 'double precision', (c) => c.notNull())
      .addColumn('not_before_s', 'double precision', (c) => c.notNull())
      .addColumn('ended_s', 'double precision')
      .addColumn('tries', 'integer', (c) => c.notNull())
      .addColumn('worker', 'text')
      .addColumn('lease', 'text')
      .addColumn('lease_until_s', 'double precision')
      .addColumn('share', 'double precision', (c) => c.notNull())
      .addColumn('reason', 'text')
      .addColumn('counts', 'text', (c) => c.notNull())
      .execute();
    await sql`create unique index job_open on job (club_id, kind, subject) where state in ('waiting', 'running')`.execute(
      db,
    );
    await sql`create index job_to_do on job (club_id, asked_s, id) where state in ('waiting', 'running')`.execute(db);
    await schema.createIndex('job_by_time').on('job').columns(['club_id', 'asked_s', 'id']).execute();
    await schema
      .createTable('job_result')
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addColumn('shot_id', 'text', (c) => c.notNull())
      .addColumn('analysis_version', 'text', (c) => c.notNull())
      .addColumn('result_id', 'text', (c) => c.notNull())
      .addColumn('job_id', 'text', (c) => c.notNull())
      .addPrimaryKeyConstraint('job_result_once', ['club_id', 'shot_id', 'analysis_version'])
      .execute();
    await schema.createIndex('job_result_by_job').on('job_result').columns(['club_id', 'job_id']).execute();
    await schema
      .createTable('job_file')
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addColumn('job_id', 'text', (c) => c.notNull())
      .addColumn('lease', 'text', (c) => c.notNull())
      .addColumn('place', 'integer', (c) => c.notNull())
      .addColumn('content', isPostgres ? 'bytea' : 'blob', (c) => c.notNull())
      .addPrimaryKeyConstraint('job_file_once', ['club_id', 'job_id', 'lease', 'place'])
      .addForeignKeyConstraint('job_file_of_job', ['club_id', 'job_id'], 'job', ['club_id', 'id'], (c) =>
        c.onDelete('cascade'),
      )
      .execute();
    // What a job said of a shot goes with the shot.
    await (isPostgres
      ? sql`alter table job_result add foreign key (club_id, shot_id) references shot_key (club_id, id) on delete cascade`
      : sql`create trigger job_result_gone after delete on shot begin
          delete from job_result where club_id = old.club_id and shot_id = old.id;
        end`
    ).execute(db);
    // A court asks for these every few seconds, among hundreds of times as many shots.
    await sql`create index change_for_courts on change_log (club_id, seq)
      where entity in ('player', 'edit', 'player_notice')`.execute(db);
  },
};
