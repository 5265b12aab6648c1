import { setTimeout as pause } from 'node:timers/promises';
import { CompiledQuery, type Kysely, sql } from 'kysely';
import { SeamwiseError } from '../../../foundation/errors.ts';
import { migrate, pendingMigrations } from '../migrate.ts';
import { newId } from '../new-id.ts';
import { QueryNotes } from '../query-notes.ts';
import { requireText } from '../store-context.ts';
import type { StoreEngine, Write, WriteScope } from '../store-engine.ts';
import type { Tables } from '../tables.ts';
import { shotTimesOf } from './missing-part.ts';
import { PostgresServer } from './postgres-server.ts';
import { inWords, isCollision, isLost } from './postgres-trouble.ts';
import { clubRole, clubsRole, hasUnsecuredTable, hubRole, lockKinds, secureTables } from './secure-tables.ts';

/** A server that is started anew is waited for so long, ms. */
const patienceMs = 15_000;
/** Changes that stood in each other's way are done anew so often. */
const mostTries = 12;
/** So often one change may find a part for its shots missing; none reaches over more than there are months. */
const mostMonths = 1300;
const monthS = 31 * 86_400;

/**
 * Opens a database of a PostgreSQL server as one club of it. An empty database is made ready, an older one brought up to date, where
 * the address is that of its owner.
 *
 * @param clubId by default the only club, which is made where there is none.
 * @throws SeamwiseError `database-address`, `database-unreachable`, `database-refused`, `database-right`, `database-unusable`,
 * `database-version`, or `store-missing` for a club that is not there.
 */
export async function openPostgresEngine(address: string, nowS: () => number, clubId?: string): Promise<StoreEngine> {
  const server = PostgresServer.at(address);
  const { shown } = server.address;
  // Who opens wants to know at once; who works on waits.
  let waitMs = 0;
  const login = server.kysely(null, () => waitMs);
  let club: string;
  try {
    await makeReady(login, shown);
    club = clubId === undefined ? await onlyClub(login, nowS(), shown) : await thisClub(login, clubId);
    await requireClubRole(login, club, shown);
    await makeMonths(
      login,
      [0, 1, 2].map((ahead) => nowS() + ahead * monthS),
    );
  } catch (error) {
    await login.destroy();
    await server.leave();
    throw inWords(error, shown);
  }
  waitMs = patienceMs;
  let isClosed = false;
  const notes = new QueryNotes();
  const db = server.kysely(clubRole(club), () => waitMs, notes);
  return {
    kind: 'postgres',
    clubId: club,
    db,
    write: (work, scope) => writeAnew(db, club, shown, work, scope),
    async backupTo() {
      throw new SeamwiseError(
        'database-unusable',
        `database ${shown}: a copy of a PostgreSQL database is made by pg_dump, not by this program: see "Backup" in DEVELOPERS.md`,
      );
    },
    async scrub() {
      // Frees the deleted rows where the address is the owner's; otherwise the server does it by itself in time.
      await sql`vacuum`.execute(login);
    },
    async plansOf(work) {
      const plans = [];
      for (const { sql: text, parameters } of await notes.during(work)) {
        const explained = await db.executeQuery<Record<string, string>>(
          CompiledQuery.raw(`explain ${text}`, [...parameters]),
        );
        plans.push({ sql: text, plan: explained.rows.map((row) => row['QUERY PLAN'] ?? '') });
      }
      return plans;
    },
    async close() {
      if (isClosed) return;
      isClosed = true;
      await db.destroy();
      await login.destroy();
      await server.leave();
    },
  };
}

/** Brings the tables up to date, or says why that cannot be. */
export async function makeReady(db: Kysely<Tables>, shown: string): Promise<void> {
  const { rows } = await sql<{ steps: boolean; tables: number; encoding: string; may_make: boolean; user: string }>`
    select to_regclass('kysely_migration') is not null as steps, current_user as user,
      (select count(*) from pg_class where relnamespace = current_schema()::regnamespace and relkind in ('r', 'p', 'v')) as tables,
      current_setting('server_encoding') as encoding, has_schema_privilege(current_schema(), 'create') as may_make`.execute(
    db,
  );
  const found = rows[0];
  if (found === undefined) return;
  if (found.encoding !== 'UTF8') {
    throw new SeamwiseError(
      'database-unusable',
      `database ${shown}: its encoding is ${found.encoding}, expected UTF8. Make it anew with createdb --encoding=UTF8.`,
    );
  }
  if (!found.steps && found.tables > 0) throw foreign(shown);
  const pending = await pendingMigrations(db, 'postgres');
  if (pending.length === 0) return;
  if (!found.may_make) {
    throw new SeamwiseError(
      found.steps ? 'database-version' : 'database-right',
      `database ${shown}: ${found.steps ? `an older version of the program wrote it, the steps from ${pending[0]} on are missing` : 'it is empty'}, and ${found.user} may not make tables in it. Start once with the address of the owner of the database.`,
    );
  }
  await requireRoleMaker(db, found.user, shown);
  await migrate(db, 'postgres');
  await db.transaction().execute((trx) => secureTables(trx as unknown as Kysely<never>));
}

function foreign(shown: string): SeamwiseError {
  return new SeamwiseError(
    'database-unusable',
    `database ${shown}: expected an empty database or one of this program, found tables of something else. Nothing was changed: name another database.`,
  );
}

async function requireRoleMaker(db: Kysely<Tables>, user: string, shown: string): Promise<void> {
  const { rows } = await sql<{ may: boolean }>`
    select rolsuper or rolcreaterole as may from pg_roles where rolname = current_user`.execute(db);
  if (rows[0]?.may) return;
  throw new SeamwiseError(
    'database-right',
    `database ${shown}: ${user} may not make roles, and each club has one of its own. Have the server's administrator say: alter role "${user}" createrole`,
  );
}

async function onlyClub(db: Kysely<Tables>, nowS: number, shown: string): Promise<string> {
  const list = (of: Kysely<Tables>) =>
    of.selectFrom('club').select(['id', 'name']).orderBy('created_s').limit(20).execute();
  let clubs = await list(db);
  if (clubs.length === 0) {
    await db.transaction().execute(async (trx) => {
      await sql`select pg_advisory_xact_lock(${sql.lit(lockKinds.clubs)}, 0)`.execute(trx);
      clubs = await list(trx);
      if (clubs.length > 0) return;
      const id = newId(nowS);
      await sql`select seamwise_add_club(${id}, 'This club', ${nowS})`.execute(trx);
      clubs = [{ id, name: 'This club' }];
    });
  }
  const [only] = clubs;
  if (only !== undefined && clubs.length === 1) return only.id;
  throw new SeamwiseError(
    'store-missing',
    `database ${shown}: it holds several clubs, say which one is meant: ${clubs.map(({ id, name }) => `${id} (${name})`).join(', ')}`,
  );
}

/**
 * Adds a club to a database that is ready.
 *
 * @returns the id. @throws SeamwiseError as `openPostgresEngine` does.
 */
export async function addPostgresClub(address: string, nowS: number, name: string): Promise<string> {
  const server = PostgresServer.at(address);
  const login = server.kysely(null, () => 0);
  try {
    await makeReady(login, server.address.shown);
    const id = newId(nowS);
    await sql`select seamwise_add_club(${id}, ${requireText('name of the club', name, { least: 1 })}, ${nowS})`.execute(
      login,
    );
    return id;
  } catch (error) {
    throw inWords(error, server.address.shown);
  } finally {
    await login.destroy();
    await server.leave();
  }
}

async function thisClub(db: Kysely<Tables>, clubId: string): Promise<string> {
  const club = await db.selectFrom('club').select('id').where('id', '=', clubId).executeTakeFirst();
  if (club) return club.id;
  throw new SeamwiseError(
    'store-missing',
    `there is no club with the id ${JSON.stringify(clubId.slice(0, 80))} in this database`,
  );
}

/** A database that came from another server may lack the roles, and a user may lack the right to them. */
async function requireClubRole(db: Kysely<Tables>, clubId: string, shown: string): Promise<void> {
  const look = async () => {
    const { rows } = await sql<{ there: boolean; may: boolean; owner: boolean }>`
      select count(r.oid) > 0 as there, coalesce(bool_or(pg_has_role(session_user, r.oid, 'member')), false) as may,
        (select pg_has_role(session_user, relowner, 'usage') from pg_class where oid = 'club'::regclass) as owner
      from pg_roles r where r.rolname = ${clubRole(clubId)}`.execute(db);
    return rows[0] ?? { there: false, may: false, owner: false };
  };
  let found = await look();
  const isOpen = await hasUnsecuredTable(db as unknown as Kysely<never>);
  if ((!found.may || isOpen) && found.owner) {
    await db.transaction().execute((trx) => secureTables(trx as unknown as Kysely<never>));
    found = await look();
  }
  if (isOpen && !found.owner) {
    throw new SeamwiseError(
      'database-right',
      `database ${shown}: tables of it do not keep clubs apart yet. Start once with the address of the owner of the database.`,
    );
  }
  if (found.may) return;
  throw new SeamwiseError(
    'database-right',
    found.there
      ? `database ${shown}: this user may not speak for the club. Have the owner of the database say: grant ${hubRole} to the user`
      : `database ${shown}: the roles of its clubs (${clubsRole}_…) are not on this server. Start once with the address of the owner of the database.`,
  );
}

/** Makes the parts that shots of these times belong to, where they are missing. */
export async function makeMonths(db: Kysely<Tables>, timesS: readonly number[]): Promise<void> {
  const byMonth = new Map(timesS.map((atS) => [new Date(atS * 1000).toISOString().slice(0, 7), atS]));
  for (const atS of byMonth.values()) {
    for (let tries = 1; ; tries++) {
      try {
        await sql`select seamwise_shot_month(${atS})`.execute(db);
        break;
      } catch (error) {
        if (!isCollision(error) || tries >= mostTries) throw error;
      }
    }
  }
}

/** Carries out a change, and does it anew where it met another one, a part for its shots was missing, or the server went away before its end. */
async function writeAnew<Result>(
  db: Kysely<Tables>,
  clubId: string,
  shown: string,
  work: Write<Result>,
  scope?: WriteScope,
): Promise<Result> {
  let rounds = 0;
  for (let tries = 1; ; tries++) {
    let isWorked = false;
    try {
      return await db.transaction().execute(async (trx) => {
        await takeTurn(trx, clubId, scope);
        const result = await work(trx);
        isWorked = true;
        return result;
      });
    } catch (error) {
      const timesS = shotTimesOf(error);
      if (timesS !== null && rounds < mostMonths) {
        rounds += 1;
        tries -= 1;
        await makeMonths(db, timesS);
      } else if (isLost(error) && isWorked) {
        throw new SeamwiseError(
          'database-unreachable',
          `database ${shown}: the server went away in the moment of a change, which may be stored or not: look before repeating it`,
        );
      } else if ((!isCollision(error) && !isLost(error)) || tries >= mostTries) throw error;
      else await pause(Math.random() * 20 * tries);
    }
  }
}

/**
 * Changes of a club follow each other, as with SQLite, whose one right to write is taken here by locks that end with the transaction.
 * What only adds to a session shares the club with others of its kind.
 */
async function takeTurn(trx: Kysely<Tables>, clubId: string, { sessionId }: WriteScope = {}): Promise<void> {
  const { clubChanges, sessionChanges } = lockKinds;
  if (sessionId === undefined) {
    await sql`select pg_advisory_xact_lock(${sql.lit(clubChanges)}, hashtext(${clubId}))`.execute(trx);
    return;
  }
  await sql`select pg_advisory_xact_lock_shared(${sql.lit(clubChanges)}, hashtext(${clubId})),
    pg_advisory_xact_lock(${sql.lit(sessionChanges)}, hashtext(${sessionId}))`.execute(trx);
}
