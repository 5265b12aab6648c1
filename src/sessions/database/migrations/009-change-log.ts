import { type Kysely, type Migration, PostgresAdapter, sql } from 'kysely';

/** Class of PostgreSQL's advisory locks under which changes are numbered; those of `lockKinds` are others. */
const changeLock = 8235;

/** Which thing a row belongs to, and by which column of the row it is named. */
const noted: readonly (readonly [table: string, entity: string, column: string])[] = [
  ['player', 'player', 'id'],
  ['consent', 'player', 'player_id'],
  ['sensor', 'sensor', 'id'],
  ['session', 'session', 'id'],
  ['shot_set', 'shot_set', 'id'],
  ['set_factor', 'shot_set', 'set_id'],
  ['shot', 'shot', 'id'],
  ['shot_result', 'shot', 'shot_id'],
  ['time_correction', 'shot', 'shot_id'],
  ['mark', 'mark', 'id'],
  ['edit', 'edit', 'id'],
  ['player_notice', 'player_notice', 'id'],
];

/**
 * A log of what was changed, written by the database itself within the change, so that nothing is changed without it; and what courts and
 * their hub remember of each other.
 */
export const changeLog: Migration = {
  async up(db: Kysely<unknown>): Promise<void> {
    const isPostgres = db.getExecutor().adapter instanceof PostgresAdapter;
    const { schema } = db;
    const changes = schema.createTable('change_log');
    await (isPostgres
      ? changes.addColumn('seq', 'bigserial', (c) => c.primaryKey())
      : changes.addColumn('seq', 'integer', (c) => c.primaryKey().autoIncrement())
    )
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addColumn('entity', 'text', (c) => c.notNull())
      .addColumn('entity_id', 'text', (c) => c.notNull())
      .addUniqueConstraint('change_once', ['club_id', 'entity', 'entity_id'])
      .execute();
    await schema.createIndex('change_by_club').on('change_log').columns(['club_id', 'seq']).execute();
    await schema
      .createTable('player_notice')
      .addColumn('id', 'text', (c) => c.notNull())
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addPrimaryKeyConstraint('player_notice_once', ['club_id', 'id'])
      .addColumn('kind', 'text', (c) => c.notNull())
      .addColumn('at_s', 'double precision', (c) => c.notNull())
      .addColumn('into_player_id', 'text')
      .execute();
    await schema
      .createTable('hub_court')
      .addColumn('id', 'text', (c) => c.notNull())
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addPrimaryKeyConstraint('hub_court_once', ['club_id', 'id'])
      .addColumn('name', 'text', (c) => c.notNull())
      .addColumn('key_hash', 'text', (c) => c.notNull().unique())
      .addColumn('made_s', 'double precision', (c) => c.notNull())
      .addColumn('revoked_s', 'double precision')
      .execute();
    await schema
      .createTable('hub_seen')
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addColumn('court_id', 'text', (c) => c.notNull())
      .addColumn('entity', 'text', (c) => c.notNull())
      .addColumn('entity_id', 'text', (c) => c.notNull())
      .addColumn('seq', 'bigint', (c) => c.notNull())
      .addPrimaryKeyConstraint('hub_seen_once', ['club_id', 'entity', 'entity_id', 'court_id'])
      .execute();
    await schema
      .createTable('hub_position')
      .addColumn('id', 'text', (c) => c.notNull())
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addPrimaryKeyConstraint('hub_position_once', ['club_id', 'id'])
      .addColumn('value', 'text', (c) => c.notNull())
      .execute();
    await schema
      .createTable('hub_parked')
      .addColumn('id', 'text', (c) => c.notNull())
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addPrimaryKeyConstraint('hub_parked_once', ['club_id', 'id'])
      .addColumn('entity', 'text', (c) => c.notNull())
      .addColumn('entity_id', 'text', (c) => c.notNull())
      .addColumn('reason', 'text', (c) => c.notNull())
      .addColumn('at_s', 'double precision', (c) => c.notNull())
      .execute();
    await schema
      .createTable('hub_recording')
      .addColumn('id', 'text', (c) => c.primaryKey())
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addColumn('court_id', 'text', (c) => c.notNull())
      .addColumn('byte_count', 'bigint', (c) => c.notNull())
      .addColumn('piece_bytes', 'integer', (c) => c.notNull())
      .addColumn('checksum', 'text', (c) => c.notNull())
      .addColumn('complete_s', 'double precision')
      .execute();
    await schema
      .createTable('hub_recording_piece')
      .addColumn('recording_id', 'text', (c) => c.notNull().references('hub_recording.id').onDelete('cascade'))
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addColumn('place', 'integer', (c) => c.notNull())
      .addColumn('content', isPostgres ? 'bytea' : 'blob', (c) => c.notNull())
      .addPrimaryKeyConstraint('hub_recording_piece_once', ['recording_id', 'place'])
      .execute();
    // What is there already is as if it had just been written.
    for (const [table, entity] of noted.filter(([, , column]) => column === 'id')) {
      await sql`insert into change_log (club_id, entity, entity_id)
        select club_id, ${sql.lit(entity)}, id from ${sql.table(table)} order by id`.execute(db);
    }
    if (isPostgres) await noteInPostgres(db);
    else await noteInSqlite(db);
  },
};

async function noteInSqlite(db: Kysely<unknown>): Promise<void> {
  for (const [table, entity, column] of noted) {
    for (const [event, row] of [
      ['insert', 'new'],
      ['update', 'new'],
      ['delete', 'old'],
    ] as const) {
      await sql
        .raw(
          `create trigger note_${table}_${event} after ${event} on ${table} begin
            delete from change_log
              where club_id = ${row}.club_id and entity = '${entity}' and entity_id = ${row}.${column};
            insert into change_log (club_id, entity, entity_id) values (${row}.club_id, '${entity}', ${row}.${column});
          end`,
        )
        .execute(db);
    }
  }
  // Who agrees to the hub hands over what was there before; who withdraws takes it back.
  for (const [event, row] of [
    ['insert', 'new'],
    ['update', 'new'],
    ['delete', 'old'],
  ] as const) {
    const player = `${row}.player_id`;
    const theirs = [
      ['shot', `select id from shot where player_id = ${player}`],
      ['shot_set', `select id from shot_set where player_id = ${player}`],
      ['sensor', `select id from sensor where owner_player_id = ${player}`],
      [
        'edit',
        `select id from edit where row_id = ${player}
          or row_id in (select id from consent where player_id = ${player})
          or row_id in (select id from shot where player_id = ${player})
          or row_id in (select id from shot_set where player_id = ${player})
          or row_id in (select id from sensor where owner_player_id = ${player})`,
      ],
    ] as const;
    const statements = theirs.flatMap(([entity, ids]) => [
      `delete from change_log where entity = '${entity}' and entity_id in (${ids});`,
      `insert into change_log (club_id, entity, entity_id) select ${row}.club_id, '${entity}', id from (${ids});`,
    ]);
    await sql
      .raw(
        `create trigger note_upload_${event} after ${event} on consent when ${row}.scope = 'upload' begin
          ${statements.join('\n')}
        end`,
      )
      .execute(db);
  }
}

/**
 * One club's changes are numbered one after the other: a number is taken under a lock that is held until it is committed, so that nobody
 * who has seen a number meets a smaller one later. Whoever listens is told by the commit.
 */
async function noteInPostgres(db: Kysely<unknown>): Promise<void> {
  const { rows } = await sql<{ name: string }>`select quote_ident(current_schema()) as name`.execute(db);
  // With the right of the tables' owner, since a club's own role may not take numbers.
  const path = `set search_path = ${rows[0]?.name}, pg_temp`;
  await sql
    .raw(
      `create function seamwise_note_change() returns trigger language plpgsql security definer ${path} as $$
        declare
          changed jsonb := to_jsonb(case when tg_op = 'DELETE' then old else new end);
          club text := changed ->> 'club_id';
        begin
          perform pg_advisory_xact_lock(${changeLock}, hashtext(club));
          insert into change_log (club_id, entity, entity_id) values (club, tg_argv[0], changed ->> tg_argv[1])
            on conflict (club_id, entity, entity_id) do update set seq = nextval('change_log_seq_seq');
          perform pg_notify('seamwise_change', club);
          return null;
        end
      $$`,
    )
    .execute(db);
  for (const [table, entity, column] of noted) {
    await sql
      .raw(
        `create trigger note_${table} after insert or update or delete on ${table}
          for each row execute function seamwise_note_change('${entity}', '${column}')`,
      )
      .execute(db);
  }
}
