import { type Kysely, sql } from 'kysely';

/** Role that may see and change the rows of clubs, each club's own role being one of it. It logs in nowhere. */
export const clubsRole = 'seamwise_club';
/** Role of the service's user: it takes the role of a club for each piece of work, and by itself only sees which clubs there are. */
export const hubRole = 'seamwise_hub';

/** Classes of PostgreSQL's advisory locks. */
export const lockKinds = {
  months: 8231,
  clubs: 8232,
  clubChanges: 8233,
  sessionChanges: 8234,
  security: 8235,
} as const;

/** Table of the shots' ids, which nobody but the database itself writes. */
export const shotKeys = 'shot_key';

/** @returns name of the role of one club. */
export function clubRole(clubId: string): string {
  return `${clubsRole}_${clubId}`;
}

/** The club of the role that asks, by the role's name: what a role could set by itself would keep nobody out. */
const ownClub = `substr(current_user::text, ${clubsRole.length + 2})`;

interface TableNow {
  readonly name: string;
  readonly has_club: boolean;
  readonly secured: boolean;
}

/**
 * Makes what keeps clubs apart, as far as it is missing: the roles, row-level security and grants of every table that has a `club_id`.
 * Texts are compared byte by byte, as SQLite does. It is done after every step of the tables, so that later tables have it too.
 *
 * Only the owner of the tables may do it, with the right to create roles.
 */
export async function secureTables(db: Kysely<never>): Promise<void> {
  const run = (text: string) => sql.raw(text).execute(db);
  await run(`select pg_advisory_xact_lock(${lockKinds.security}, 0)`);
  for (const role of [clubsRole, hubRole]) {
    // Another database of the same server may have made it, or make it in this moment.
    await run(
      `do $$ begin create role ${role} nologin; exception when duplicate_object or unique_violation then null; end $$`,
    );
  }
  const schema = (await sql<{ name: string }>`select quote_ident(current_schema()) as name`.execute(db)).rows[0]?.name;
  // Before version 15 everybody may make tables in the schema `public`.
  await run(`revoke create on schema ${schema} from public`);
  await run(`grant usage on schema ${schema} to ${clubsRole}, ${hubRole}`);
  await compareByBytes(db);
  const tables = await sql<TableNow>`
    select c.relname as name, c.relrowsecurity as secured,
      exists (select from pg_attribute a where a.attrelid = c.oid and a.attname = 'club_id' and not a.attisdropped) as has_club
    from pg_class c
    where c.relnamespace = current_schema()::regnamespace and c.relkind in ('r', 'p') and not c.relispartition`.execute(
    db,
  );
  for (const { name, has_club, secured } of tables.rows) {
    if (!(has_club || name === 'club')) continue;
    const column = name === 'club' ? 'id' : 'club_id';
    if (name === 'club') {
      await run(`grant select, update (name) on club to ${clubsRole}`);
      await run(`grant select on club to ${hubRole}`);
    } else if (name !== shotKeys) await run(`grant select, insert, update, delete on "${name}" to ${clubsRole}`);
    if (secured) continue;
    await run(`alter table "${name}" enable row level security`);
    await run(`drop policy if exists own_club on "${name}"`);
    await run(`drop policy if exists listed on "${name}"`);
    await run(`create policy own_club on "${name}" using (${column} = ${ownClub}) with check (${column} = ${ownClub})`);
    if (name === 'club') await run(`create policy listed on club for select to ${hubRole} using (true)`);
  }
  await run(`grant select on kysely_migration to ${clubsRole}, ${hubRole}`);
  await run(`revoke all on function seamwise_add_club(text, text, double precision) from public`);
  await run(`grant execute on function seamwise_add_club(text, text, double precision) to ${hubRole}`);
  await run(`revoke all on function seamwise_shot_month(double precision) from public`);
  await run(`grant execute on function seamwise_shot_month(double precision) to ${hubRole}, ${clubsRole}`);
  // After a database was brought to another server, whose roles are others.
  await run(`select seamwise_club_role(id) from club`);
}

/** @returns whether a table with rows of clubs is not secured yet: a start may have been cut off before it came to that. */
export async function hasUnsecuredTable(db: Kysely<never>): Promise<boolean> {
  const { rows } = await sql<{ found: boolean }>`
    select exists (select from pg_class c join pg_attribute a on a.attrelid = c.oid
      where c.relnamespace = current_schema()::regnamespace and c.relkind in ('r', 'p') and not c.relispartition
        and not c.relrowsecurity and a.attname = 'club_id' and not a.attisdropped) as found`.execute(db);
  return rows[0]?.found ?? false;
}

/** Order and letters of a language would sort and search otherwise than SQLite. */
async function compareByBytes(db: Kysely<never>): Promise<void> {
  const others = await sql<{ table: string; column: string }>`
    select quote_ident(c.relname) as table, quote_ident(a.attname) as column
    from pg_attribute a join pg_class c on c.oid = a.attrelid
    where c.relnamespace = current_schema()::regnamespace and c.relkind in ('r', 'p') and not c.relispartition
      and c.relname not like 'kysely%' and a.attnum > 0 and not a.attisdropped
      and a.atttypid = 'text'::regtype and a.attcollation <> (select oid from pg_collation where collname = 'C')`.execute(
    db,
  );
  for (const { table, column } of others.rows) {
    await sql.raw(`alter table ${table} alter column ${column} type text collate "C"`).execute(db);
  }
}
