import { once } from 'node:events';
import { createWriteStream } from 'node:fs';
import { parquetWriteFile } from 'hyparquet-writer';
import type { ColumnType, ExportColumn } from './shot-columns.ts';

/** Writes a table as CSV (RFC 4180, UTF-8, LF). */
export async function writeCsvTable<Row>(
  file: string,
  columns: readonly ExportColumn<Row>[],
  rows: Iterable<Row> | AsyncIterable<Row>,
): Promise<void> {
  const out = createWriteStream(file, { mode: 0o600 });
  const opened = once(out, 'open');
  await opened;
  const put = async (cells: readonly (string | number | null)[]): Promise<void> => {
    if (!out.write(`${cells.map(csvCell).join(',')}\n`)) await once(out, 'drain');
  };
  await put(columns.map(({ name }) => name));
  for await (const row of rows) await put(columns.map(({ cell }) => cell(row)));
  out.end();
  await once(out, 'close');
}

/**
 * @returns the cell as it stands in a CSV file. Text that a spreadsheet would take for a formula gets an apostrophe in front,
 *   as those programs read it.
 */
export function csvCell(value: string | number | null): string {
  if (value === null) return '';
  if (typeof value === 'number') return String(value);
  const safe = /^[=+\-@\t\r]/.test(value) ? `'${value}` : value;
  return /[",\n\r]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
}

const parquetTypes = { text: 'STRING', number: 'DOUBLE', whole: 'INT32' } as const satisfies Record<ColumnType, string>;

/** Writes a table as Apache Parquet; empty cells are null. */
export function writeParquetTable<Row>(
  file: string,
  columns: readonly ExportColumn<Row>[],
  rows: readonly Row[],
): void {
  parquetWriteFile({
    filename: file,
    columnData: columns.map(({ name, type, cell }) => ({
      name,
      type: parquetTypes[type],
      nullable: true,
      data: rows.map((row) => cell(row)),
    })),
  });
}

/** @returns one line for every column of a table, for a table of `dictionaryColumns`. */
export function dictionaryLines<Row>(table: string, columns: readonly ExportColumn<Row>[]): readonly DictionaryLine[] {
  return columns.map((column) => ({ table, column: column as ExportColumn<never> }));
}

export interface DictionaryLine {
  readonly table: string;
  readonly column: ExportColumn<never>;
}

/** Columns of a dictionary. */
export const dictionaryColumns: readonly ExportColumn<DictionaryLine>[] = (
  [
    ['table', ({ table }) => table],
    ['name', ({ column }) => column.name],
    ['type', ({ column }) => column.type],
    ['unit', ({ column }) => column.unit],
    ['definition', ({ column }) => column.definition],
    ['method', ({ column }) => column.method],
    ['valid_from', ({ column }) => column.validRange?.[0] ?? null],
    ['valid_to', ({ column }) => column.validRange?.[1] ?? null],
  ] as const satisfies readonly (readonly [string, (line: DictionaryLine) => string | number | null])[]
).map(([name, cell]) => ({
  name,
  type: 'text',
  unit: '',
  definition: '',
  method: '',
  validRange: null,
  cell,
}));
