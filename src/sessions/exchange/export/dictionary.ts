import { type ExportColumn, numberColumn, textColumn } from './export-column.ts';

/** One column of one table, as the dictionary tells it. */
export interface DictionaryLine {
  readonly table: string;
  readonly column: ExportColumn<never>;
}

/** @returns one line for every column of a table, for a table of `dictionaryColumns`. */
export function dictionaryLines<Row>(table: string, columns: readonly ExportColumn<Row>[]): readonly DictionaryLine[] {
  return columns.map((column) => ({ table, column: column as ExportColumn<never> }));
}

/** Columns of a dictionary. */
export const dictionaryColumns: readonly ExportColumn<DictionaryLine>[] = [
  textColumn('table', 'the table, by the name of its files', ({ table }) => table),
  textColumn('name', 'name of the column', ({ column }) => column.name),
  textColumn('type', 'text, number, or whole (a whole number)', ({ column }) => column.type),
  textColumn('unit', 'unit of the numbers; 1 for counts and ratios', ({ column }) => column.unit),
  textColumn('definition', 'what it is', ({ column }) => column.definition),
  textColumn('method', 'how it is come by', ({ column }) => column.method),
  numberColumn('valid_from', '', 'values below cannot be', ({ column }) => column.validRange?.[0] ?? null),
  numberColumn('valid_to', '', 'values above cannot be', ({ column }) => column.validRange?.[1] ?? null),
];
