import { type Kysely, type Migration, PostgresAdapter, sql } from 'kysely';
import { keyedId } from '../keyed-id.ts';

/** Each row of these is a thing of its own for courts and their hub. */
const noted = [
  ...['player_target', 'best_set', 'own_drill', 'prescription', 'proof_block', 'load_entry', 'study', 'study_set'],
  ...['rotation', 'rotation_player', 'sensor_calibration'],
] as const;

/** Of these there is one for each key, and it is named by the key from now on. */
const keyed = {
  player_target: ['player_id', 'measure'],
  load_entry: ['player_id', 'date'],
  best_set: ['player_id', 'set_id'],
} as const;

const toCourts = [
  ...['player', 'edit', 'player_notice', 'player_target', 'best_set', 'own_drill', 'prescription', 'proof_block'],
  ...['load_entry', 'study', 'study_set', 'sensor_calibration'],
] as const;

/** Coaching, studies, rounds and calibrations of sensors go from courts to their hub and back, with what is there already. */
export const handedCoaching: Migration = {
  async up(db: Kysely<unknown>): Promise<void> {
    const isPostgres = db.getExecutor().adapter instanceof PostgresAdapter;
    await db.schema
      .createTable('sensor_calibration')
      .addColumn('id', 'text', (c) => c.notNull())
      .addColumn('club_id', 'text', (c) => c.notNull().references('club.id'))
      .addPrimaryKeyConstraint('sensor_calibration_once', ['club_id', 'id'])
      .addColumn('sensor_id', 'text', (c) => c.notNull())
      .addColumn('made_s', 'double precision', (c) => c.notNull())
      .addColumn('document', 'text', (c) => c.notNull())
      .execute();
    await db.schema
      .createIndex('sensor_calibration_by_sensor')
      .on('sensor_calibration')
      .columns(['club_id', 'sensor_id', 'made_s'])
      .execute();
    for (const [table, columns] of Object.entries(keyed)) await nameByKey(db, table, columns);
    for (const table of noted) {
      await sql`insert into change_log (club_id, entity, entity_id)
        select club_id, ${sql.lit(table)}, id from ${sql.table(table)} order by id`.execute(db);
      await (isPostgres ? noteInPostgres(db, table) : noteInSqlite(db, table));
    }
    // What people changed of them was passed over until now.
    const tables = sql.join(noted.map((table) => sql.lit(table)));
    await sql`delete from change_log where entity = 'edit' and entity_id in
      (select id from edit where table_name in (${tables}))`.execute(db);
    await sql`insert into change_log (club_id, entity, entity_id)
      select club_id, 'edit', id from edit where table_name in (${tables}) order by id`.execute(db);
    if (!isPostgres) await noteWithConsent(db);
    await sql`drop index change_for_courts`.execute(db);
    await sql`create index change_for_courts on change_log (club_id, seq)
      where entity in (${sql.join(toCourts.map((entity) => sql.lit(entity)))})`.execute(db);
  },
};

interface Named {
  readonly id: string;
  readonly row_id: string;
  readonly before_row: string | null;
  readonly after_row: string | null;
}

async function nameByKey(db: Kysely<unknown>, table: string, columns: readonly string[]): Promise<void> {
  const idOf = (row: Readonly<Record<string, unknown>>) => keyedId(table, ...columns.map((name) => String(row[name])));
  const { rows } = await sql<Record<string, string>>`select * from ${sql.table(table)}`.execute(db);
  for (const row of rows) {
    await sql`update ${sql.table(table)} set id = ${idOf(row)} where id = ${row.id}`.execute(db);
  }
  const edits =
    await sql<Named>`select id, row_id, before_row, after_row from edit where table_name = ${table}`.execute(db);
  for (const { id, before_row, after_row } of edits.rows) {
    const known = after_row ?? before_row;
    if (known === null) continue;
    const rowId = idOf(JSON.parse(known) as Record<string, unknown>);
    const named = (text: string | null) =>
      text === null ? null : JSON.stringify({ ...(JSON.parse(text) as object), id: rowId });
    await sql`update edit set row_id = ${rowId}, before_row = ${named(before_row)}, after_row = ${named(after_row)}
      where id = ${id}`.execute(db);
  }
}

async function noteInPostgres(db: Kysely<unknown>, table: string): Promise<void> {
  await sql
    .raw(
      `create trigger note_${table} after insert or update or delete on ${table}
        for each row execute function seamwise_note_change('${table}', 'id')`,
    )
    .execute(db);
}

async function noteInSqlite(db: Kysely<unknown>, table: string): Promise<void> {
  for (const [event, row] of rowOfEvent) {
    await sql
      .raw(
        `create trigger note_${table}_${event} after ${event} on ${table} begin
          delete from change_log where club_id = ${row}.club_id and entity = '${table}' and entity_id = ${row}.id;
          insert into change_log (club_id, entity, entity_id) values (${row}.club_id, '${table}', ${row}.id);
        end`,
      )
      .execute(db);
  }
}

const rowOfEvent = [
  ['insert', 'new'],
  ['update', 'new'],
  ['delete', 'old'],
] as const;

/** Who agrees to the hub hands over what was there before, and that in which the player was one of several; who withdraws takes it back. */
async function noteWithConsent(db: Kysely<unknown>): Promise<void> {
  for (const [event, row] of rowOfEvent) {
    const player = `${row}.player_id`;
    const own = (table: string) => `select id from ${table} where player_id = ${player}`;
    const sets = own('shot_set');
    const studies = `select id from study where instr(design, ${player}) > 0`;
    const rotations = `select rotation_id from rotation_player where player_id = ${player}`;
    const theirs: readonly (readonly [entity: string, ids: string])[] = [
      ['player_target', own('player_target')],
      ['load_entry', own('load_entry')],
      ['best_set', `${own('best_set')} union select id from best_set where set_id in (${sets})`],
      ['prescription', own('prescription')],
      [
        'proof_block',
        `select id from proof_block where prescription_id in (${own('prescription')}) or set_id in (${sets})`,
      ],
      ['study', studies],
      ['study_set', `select id from study_set where study_id in (${studies}) or set_id in (${sets})`],
      ['rotation', `select id from rotation where id in (${rotations})`],
      ['rotation_player', `select id from rotation_player where rotation_id in (${rotations})`],
    ];
    const edits = `select id from edit where ${theirs.map(([, ids]) => `row_id in (${ids})`).join(' or ')}`;
    const statements = [...theirs, ['edit', edits] as const].flatMap(([entity, ids]) => [
      `delete from change_log where entity = '${entity}' and entity_id in (${ids});`,
      `insert into change_log (club_id, entity, entity_id) select ${row}.club_id, '${entity}', id from (${ids});`,
    ]);
    await sql
      .raw(
        `create trigger note_upload_coaching_${event} after ${event} on consent when ${row}.scope = 'upload' begin
          ${statements.join('\n')}
        end`,
      )
      .execute(db);
  }
}
