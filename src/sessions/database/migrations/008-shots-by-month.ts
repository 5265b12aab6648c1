import { type Kysely, type Migration, sql } from 'kysely';
import { clubRole, clubsRole, hubRole, lockKinds, shotKeys } from '../postgres/secure-tables.ts';

/** Shots before and from these years on lie in one part each, so that no wrong clock makes parts without end. */
const monthsFrom = Date.UTC(2000, 0, 1) / 1000;
const monthsUntil = Date.UTC(2100, 0, 1) / 1000;

const shotIndices: readonly (readonly [string, string])[] = [
  // Counted without a look at the rows: whose they are stands in the index too.
  ['shot_by_session', 'session_id, at_s, id) include (club_id'],
  ['shot_by_player', 'player_id, at_s, id'],
  ['shot_by_set', 'set_id, at_s, id'],
  ['shot_by_time', 'club_id, at_s, id'],
  ['shot_by_told', 'club_id, told_seq'],
  ['shot_by_told_id', 'club_id, told_id'],
];

/**
 * PostgreSQL alone: shots in parts by month; what refers to a row refers to one of its own club; functions that the service's user
 * may call without owning the tables.
 *
 * A table in parts has no unique column but together with the one that parts it. `shot_key` holds the ids of the shots instead, kept by a
 * trigger: an id is there once in a club, and what hangs on a shot keeps it from being deleted, as in SQLite.
 */
export const shotsByMonth: Migration = {
  async up(db: Kysely<unknown>): Promise<void> {
    const run = (text: string) => sql.raw(text).execute(db);
    for (const table of ['player', 'session', 'shot_set', 'rotation', 'prescription', 'study']) {
      await run(`alter table ${table} add constraint ${table}_of_club unique (club_id, id)`);
    }
    await makeParts(db);
    await keepWithinClub(db);
    await makeFunctions(db);
    await run(`create table shot_before_2000 partition of shot for values from (minvalue) to (${monthsFrom})`);
    await run(`create table shot_from_2100 partition of shot for values from (${monthsUntil}) to (maxvalue)`);
  },
};

async function makeParts(db: Kysely<unknown>): Promise<void> {
  const run = (text: string) => sql.raw(text).execute(db);
  await run(
    `create table ${shotKeys} (club_id text not null references club (id), id text not null, primary key (club_id, id))`,
  );
  await run('alter table shot rename to shot_whole');
  await run('create table shot (like shot_whole including defaults, primary key (id, at_s)) partition by range (at_s)');
  await run('drop table shot_whole cascade');
  await run('alter table shot add foreign key (club_id) references club (id)');
  const references = { session_id: 'session', set_id: 'shot_set', player_id: 'player', sensor_id: 'sensor' };
  for (const [column, table] of Object.entries(references)) {
    await run(`alter table shot add foreign key (club_id, ${column}) references ${table} (club_id, id)`);
  }
  for (const [name, columns] of shotIndices) await run(`create index ${name} on shot (${columns})`);
  for (const table of ['shot_result', 'time_correction']) {
    await run(`alter table ${table} add foreign key (club_id, shot_id) references ${shotKeys} (club_id, id)`);
  }
  const path = await searchPath(db);
  await run(`create function seamwise_keep_shot_key() returns trigger language plpgsql security definer ${path} as $$
    begin
      if tg_op = 'INSERT' then insert into ${shotKeys} values (new.club_id, new.id);
      else delete from ${shotKeys} where club_id = old.club_id and id = old.id;
      end if;
      return null;
    end $$`);
  await run(
    'create trigger shot_key_kept after insert or delete on shot for each row execute function seamwise_keep_shot_key()',
  );
}

/** Foreign keys of one column become such of two, with the club. */
async function keepWithinClub(db: Kysely<unknown>): Promise<void> {
  const keys = await sql<{ name: string; table: string; column: string; of: string }>`
    select quote_ident(k.conname) as name, k.conrelid::regclass::text as table, quote_ident(a.attname) as column,
      k.confrelid::regclass::text as of
    from pg_constraint k join pg_attribute a on a.attrelid = k.conrelid and a.attnum = k.conkey[1]
    where k.contype = 'f' and k.connamespace = current_schema()::regnamespace and array_length(k.conkey, 1) = 1
      and k.confrelid <> 'club'::regclass`.execute(db);
  for (const { name, table } of keys.rows) await sql.raw(`alter table ${table} drop constraint ${name}`).execute(db);
  // A sensor may go from one club of the hub to another; each has it then.
  await sql`alter table sensor drop constraint sensor_pkey`.execute(db);
  await sql`alter table sensor add constraint sensor_pkey primary key using index sensor_by_club`.execute(db);
  for (const { table, column, of } of keys.rows) {
    await sql
      .raw(`alter table ${table} add foreign key (club_id, ${column}) references ${of} (club_id, id)`)
      .execute(db);
  }
}

async function makeFunctions(db: Kysely<unknown>): Promise<void> {
  const run = (text: string) => sql.raw(text).execute(db);
  const path = await searchPath(db);
  await run(`create function seamwise_shot_month(at_s double precision) returns void
    language plpgsql security definer ${path} as $$
    declare
      from_at timestamp := date_trunc('month', to_timestamp(at_s) at time zone 'UTC');
      part text := 'shot_' || to_char(from_at, 'YYYY_MM');
    begin
      if not (at_s >= ${monthsFrom} and at_s < ${monthsUntil}) or to_regclass(part) is not null then return; end if;
      perform pg_advisory_xact_lock(${lockKinds.months}, 0);
      -- to_regclass may still remember that it was not there.
      if exists (select from pg_class where relname = part and relnamespace = current_schema()::regnamespace) then return; end if;
      execute format('create table %I (like shot including defaults)', part);
      -- Attached, and not made as a part, so that those who read and write other parts are not held up.
      execute format('alter table shot attach partition %I for values from (%s) to (%s)', part,
        extract(epoch from from_at), extract(epoch from from_at + interval '1 month'));
    end $$`);
  await run(`create function seamwise_club_role(club text) returns void
    language plpgsql security definer ${path} as $$
    declare
      name text := '${clubRole('')}' || club;
    begin
      if club !~ '^[A-Za-z0-9-]{1,48}$' then raise exception 'id of a club "%": expected 1 to 48 letters, digits and hyphens', club; end if;
      begin
        execute format('create role %I nologin', name);
      exception when duplicate_object or unique_violation then null;
      end;
      execute format('grant ${clubsRole} to %I', name);
      execute format('grant %I to ${hubRole}', name);
      if not pg_has_role(current_user, name, 'member') then execute format('grant %I to current_user', name); end if;
    end $$`);
  await run('revoke all on function seamwise_club_role(text) from public');
  await run(`create function seamwise_add_club(club text, called text, at_s double precision) returns void
    language plpgsql security definer ${path} as $$
    begin
      insert into club (id, name, created_s) values (club, called, at_s);
      perform seamwise_club_role(club);
    end $$`);
}

async function searchPath(db: Kysely<unknown>): Promise<string> {
  const { rows } = await sql<{ name: string }>`select quote_ident(current_schema()) as name`.execute(db);
  return `set search_path = ${rows[0]?.name}, pg_temp`;
}
