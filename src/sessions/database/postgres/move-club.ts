import { existsSync, mkdtempSync, rmSync } from 'node:fs';
import path from 'node:path';
import { isDeepStrictEqual } from 'node:util';
import { type Kysely, sql, type Transaction } from 'kysely';
import { SeamwiseError } from '../../../foundation/errors.ts';
import { openSqlite } from '../open-sqlite.ts';
import { openingTrouble, openSqliteEngine } from '../sqlite-engine.ts';
import type { Tables } from '../tables.ts';
import { makeMonths, makeReady } from './postgres-engine.ts';
import { PostgresServer } from './postgres-server.ts';
import { inWords } from './postgres-trouble.ts';
import { clubRole } from './secure-tables.ts';

export interface MoveOptions {
  /** The database file; it is left as it is. */
  readonly file: string;
  /** Of a PostgreSQL database that is empty, or with `beside` holds other clubs. */
  readonly address: string;
  readonly nowS: () => number;
  readonly beside?: boolean;
  readonly say?: (line: string) => void;
}

export interface MovedClub {
  readonly clubId: string;
  readonly tables: readonly { readonly name: string; readonly rows: number }[];
}

type Row = Readonly<Record<string, unknown>> & { readonly id: string };

/** What a court knows of its hub is nothing for the hub; changes are numbered anew. */
const notMoved: ReadonlySet<string> = new Set([
  ...['change_log', 'hub_court', 'hub_seen', 'hub_position', 'hub_parked', 'hub_recording', 'hub_recording_piece'],
  ...['job', 'job_result', 'job_file', 'job_player'],
]);

const pageRows = 200;

/**
 * Moves a club from a file of SQLite to a PostgreSQL database, in one transaction: everything or nothing. Before that ends, every row
 * is read back and compared with the file's, column by column.
 *
 * @throws SeamwiseError `club-not-moved`; `database-unusable` or `database-version` for the file; what opening the database throws.
 */
export async function moveClub({
  file,
  address,
  nowS,
  beside = false,
  say = () => {},
}: MoveOptions): Promise<MovedClub> {
  if (!existsSync(file)) {
    throw new SeamwiseError(
      'database-unusable',
      `database ${file}: there is no such file. Name the club.db of a data folder.`,
    );
  }
  const server = PostgresServer.at(address);
  const { shown } = server.address;
  const target = server.kysely(null, () => 0);
  try {
    await makeReady(target, shown);
    // Told before a big file is copied for nothing.
    await requireRoom(target, shown, beside);
    return await withCopy(file, nowS, async (source) => {
      const days = await sql<{ day: number }>`select distinct cast(at_s / 86400 as integer) as day from shot`.execute(
        source,
      );
      await makeMonths(
        target,
        days.rows.flatMap(({ day }) => [day * 86_400, day * 86_400 + 86_399]),
      );
      const moved = await target.transaction().execute(async (trx) => {
        await requireRoom(trx, shown, beside);
        return fill(source, trx, shown, say);
      });
      await sql`analyze`.execute(target);
      return moved;
    });
  } catch (error) {
    throw inWords(error, shown);
  } finally {
    await target.destroy();
    await server.leave();
  }
}

/** Works on a copy as of one moment, brought up to date; the file itself is only read. */
async function withCopy<Result>(
  file: string,
  nowS: () => number,
  work: (source: Kysely<Tables>) => Promise<Result>,
): Promise<Result> {
  const folder = mkdtempSync(path.join(path.dirname(path.resolve(file)), '.moving-'));
  try {
    const copy = path.join(folder, 'club.db');
    try {
      const sqlite = openSqlite(file);
      try {
        sqlite.exec(`vacuum into '${copy.replaceAll("'", "''")}'`);
      } finally {
        sqlite.close();
      }
    } catch (error) {
      throw openingTrouble(file, error);
    }
    const source = await openSqliteEngine(copy, nowS, false);
    try {
      return await work(source.db);
    } finally {
      await source.close();
    }
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

async function requireRoom(target: Kysely<Tables>, shown: string, beside: boolean): Promise<void> {
  const clubs = await target.selectFrom('club').select(['id', 'name']).limit(5).execute();
  if (clubs.length === 0 || beside) return;
  throw new SeamwiseError(
    'club-not-moved',
    `database ${shown}: expected an empty database, it holds ${clubs.map(({ name, id }) => `"${name}" (${id})`).join(', ')} already. Nothing was changed: name an empty one, or say that this club is to stand beside those.`,
  );
}

async function fill(
  source: Kysely<Tables>,
  trx: Transaction<Tables>,
  shown: string,
  say: (line: string) => void,
): Promise<MovedClub> {
  const club = await source.selectFrom('club').selectAll().executeTakeFirstOrThrow();
  const there = await trx.selectFrom('club').select('id').where('id', '=', club.id).executeTakeFirst();
  if (there) {
    throw new SeamwiseError(
      'club-not-moved',
      `database ${shown}: this club (${club.id}) is in it already. Nothing was changed.`,
    );
  }
  await sql`select seamwise_add_club(${club.id}, ${club.name}, ${club.created_s})`.execute(trx);
  // What another club could not see or write is not written here either.
  await sql`set local role ${sql.id(clubRole(club.id))}`.execute(trx);
  const tables: { name: string; rows: number }[] = [];
  for (const name of await tablesInOrder(source)) {
    let rows = 0;
    for await (const page of pages(source, name)) {
      await insert(trx, name, page);
      rows += page.length;
    }
    tables.push({ name, rows });
    if (rows > 0) say(`${name}: ${rows} rows`);
  }
  for (const { name, rows } of tables) await compare(source, trx, name, rows);
  return { clubId: club.id, tables };
}

/** @returns tables of clubs' rows, each behind those that it refers to. */
async function tablesInOrder(source: Kysely<Tables>): Promise<string[]> {
  const { rows } = await sql<{ name: string; refers_to: string | null }>`
    select t.name as name, f."table" as refers_to
    from sqlite_master t left join pragma_foreign_key_list(t.name) f
    where t.type = 'table' and exists (select 1 from pragma_table_info(t.name) c where c.name = 'club_id')
    order by t.name`.execute(source);
  const left = new Set(rows.map(({ name }) => name).filter((name) => !notMoved.has(name)));
  const order: string[] = [];
  while (left.size > 0) {
    const ready = [...left].filter((name) =>
      rows.every((row) => row.name !== name || row.refers_to === name || !left.has(row.refers_to ?? '')),
    );
    if (ready.length === 0) throw new Error(`tables that refer to each other: ${[...left].join(', ')}`);
    for (const name of ready) left.delete(name);
    order.push(...ready);
  }
  return order;
}

async function* pages(db: Kysely<Tables>, table: string): AsyncGenerator<Row[]> {
  for (let after = ''; ; ) {
    const page = (await db
      .selectFrom(table as 'player')
      .selectAll()
      .where('id', '>', after)
      .orderBy('id')
      .limit(pageRows)
      .execute()) as unknown as Row[];
    if (page.length > 0) yield page;
    if (page.length < pageRows) return;
    after = page.at(-1)?.id ?? '';
  }
}

async function insert(trx: Transaction<Tables>, table: string, page: readonly Row[]): Promise<void> {
  try {
    await trx
      .insertInto(table as 'player')
      .values(page as never)
      .execute();
  } catch (error) {
    if (error instanceof SeamwiseError) throw error;
    const { message, detail } = error as { message?: string; detail?: string };
    throw new SeamwiseError(
      'club-not-moved',
      `table ${table}: the database takes one of the rows from "${page[0]?.id}" to "${page.at(-1)?.id}" not: ${message}${detail ? ` (${detail})` : ''}. Nothing was changed; put the row right in the file, or restore a backup.`,
    );
  }
}

async function compare(source: Kysely<Tables>, trx: Transaction<Tables>, table: string, rows: number): Promise<void> {
  const copied = pages(trx, table);
  let compared = 0;
  const failed = (what: string) =>
    new SeamwiseError(
      'club-not-moved',
      `table ${table}: ${what}. Nothing was changed; the file is as it was, and its service can go on.`,
    );
  for await (const page of pages(source, table)) {
    const { value = [] } = (await copied.next()) as { value?: readonly Row[] };
    for (const [at, row] of page.entries()) {
      const copy = value[at];
      if (copy === undefined) throw failed(`row "${row.id}" is missing behind the move`);
      // Two readers give objects of different makes.
      if (!isDeepStrictEqual({ ...row }, { ...copy })) {
        const column = Object.keys(row).find((name) => row[name] !== copy[name]);
        throw failed(
          `row "${row.id}" came out otherwise: ${column} was ${JSON.stringify(row[column ?? ''])}, is ${JSON.stringify(copy[column ?? ''])}`,
        );
      }
      compared += 1;
    }
  }
  const more = await copied.next();
  if (compared !== rows || more.done !== true) throw failed(`expected ${rows} rows, found others`);
}
