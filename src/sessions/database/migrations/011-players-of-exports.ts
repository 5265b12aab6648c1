import { type Kysely, type Migration, PostgresAdapter, sql } from 'kysely';

/** Why an export cannot be fetched any more, and why one is begun anew. They stand in the database: they do not change. */
export const exportReasons = {
  withdrawn:
    'the export was removed: somebody in it withdrew the consent to exports. Try it again for one without that player; delete copies that were fetched',
  erased:
    'the export was removed: a player of the club was deleted, or withdrew from the hub. Try it again for one without that player; delete copies that were fetched',
  unknown:
    'the export was removed: an earlier version of the program made it, and did not note who is in it. Try it again',
  anew: 'begun anew: a player withdrew, or was deleted, while it was written',
} as const;

/**
 * Who is in an export. Whoever of them withdraws the consent to exports takes the export away: the database itself sees to it, in the
 * transaction in which the withdrawal is noted, wherever that comes from. One that is being written may hold anybody, and is begun anew.
 */
export const playersOfExports: Migration = {
  async up(db: Kysely<unknown>): Promise<void> {
    const isPostgres = db.getExecutor().adapter instanceof PostgresAdapter;
    const { schema } = db;
    await schema
      .createTable('job_player')
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addColumn('job_id', 'text', (c) => c.notNull())
      .addColumn('player_id', 'text', (c) => c.notNull())
      .addPrimaryKeyConstraint('job_player_once', ['club_id', 'job_id', 'player_id'])
      .addForeignKeyConstraint('job_player_of_job', ['club_id', 'job_id'], 'job', ['club_id', 'id'], (c) =>
        c.onDelete('cascade'),
      )
      .execute();
    await schema.createIndex('job_player_by_player').on('job_player').columns(['club_id', 'player_id']).execute();
    await sql`update job set state = 'stopped', lease = null, reason = ${sql.lit(exportReasons.unknown)}
      where kind = 'export' and state = 'done'`.execute(db);
    await sql`delete from job_file`.execute(db);
    await (isPostgres ? takeAwayInPostgres(db) : takeAwayInSqlite(db));
  },
};

/** @param row the consent that was given until now. */
function statements(row: string): string {
  return `
    update job set state = 'stopped', lease = null, reason = '${exportReasons.withdrawn}'
      where club_id = ${row}.club_id and kind = 'export' and state = 'done' and id in
        (select job_id from job_player where club_id = ${row}.club_id and player_id = ${row}.player_id);
    update job set state = 'waiting', lease = null, lease_until_s = null, share = 0, not_before_s = 0,
        reason = '${exportReasons.anew}'
      where club_id = ${row}.club_id and kind = 'export' and state = 'running';
    delete from job_file where club_id = ${row}.club_id and job_id in
      (select id from job where club_id = ${row}.club_id and kind = 'export' and state <> 'done');
    delete from job_player where club_id = ${row}.club_id and job_id in
      (select id from job where club_id = ${row}.club_id and kind = 'export' and state <> 'done');`;
}

const isOver = `new.scope = 'export' and new.withdrawn_s is not null`;

async function takeAwayInSqlite(db: Kysely<unknown>): Promise<void> {
  const trigger = (name: string, event: string, when: string, row: string) =>
    sql.raw(`create trigger ${name} after ${event} on consent when ${when} begin ${statements(row)} end`).execute(db);
  await trigger('exports_of_withdrawn', 'update', isOver, 'new');
  await trigger('exports_of_deleted', 'delete', `old.scope = 'export'`, 'old');
}

async function takeAwayInPostgres(db: Kysely<unknown>): Promise<void> {
  const run = (text: string) => sql.raw(text).execute(db);
  // Without a condition of the trigger itself: columns that one names cannot be given another order of letters, as they are behind this.
  await run(`create function seamwise_take_exports_away() returns trigger language plpgsql as $$
    declare given consent := old;
    begin
      if given.scope <> 'export' then return null; end if;
      if tg_op = 'UPDATE' then
        if new.withdrawn_s is null then return null; end if;
      end if;
      ${statements('given')}
      return null;
    end
  $$`);
  await run(`create trigger exports_of_withdrawn after update or delete on consent
    for each row execute function seamwise_take_exports_away()`);
}
