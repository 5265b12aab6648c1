import { type Kysely, PostgresAdapter, type RawBuilder, type SqlBool, sql } from 'kysely';

/**
 * @returns whether a column holds one of many ids: one text whatever their number, so that the database need not plan the query anew for
 * each.
 */
export function amongIds(
  db: Pick<Kysely<never>, 'getExecutor'>,
  column: string,
  ids: readonly string[],
): RawBuilder<SqlBool> {
  return db.getExecutor().adapter instanceof PostgresAdapter
    ? sql<SqlBool>`${sql.ref(column)} = any(${[...ids]}::text[])`
    : sql<SqlBool>`${sql.ref(column)} in (select value from json_each(${JSON.stringify(ids)}))`;
}
