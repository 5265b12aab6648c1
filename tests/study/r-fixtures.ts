import { readFileSync } from 'node:fs';

interface FixtureTable {
  readonly columns: readonly string[];
  readonly rows: readonly (readonly number[])[];
}

const tables = JSON.parse(readFileSync(new URL('r-fixtures.json', import.meta.url), 'utf8')) as Record<
  string,
  FixtureTable
>;

/** SOURCE: R 4.2.2 (Debian r-base-core), values made by make-r-fixtures.R beside this file. */
export function rTable(name: string): readonly Readonly<Record<string, number>>[] {
  const table = tables[name];
  if (!table) throw new Error(`r-fixtures.json has no table ${name}: run make-r-fixtures.R`);
  return table.rows.map((row) => Object.fromEntries(table.columns.map((column, i) => [column, row[i]!])));
}

/** Largest difference relative to the expected size, over all rows; 0 expected counts as absolute. */
export function worstRelative(pairs: readonly (readonly [number, number])[]): number {
  let worst = 0;
  for (const [got, expected] of pairs) {
    const off = Math.abs(got - expected) / (Math.abs(expected) > 0 ? Math.abs(expected) : 1);
    if (!(off <= worst)) worst = off;
  }
  return worst;
}
