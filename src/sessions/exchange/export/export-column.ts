/** Kinds of values in a table, by how they are written. */
export type ColumnType = 'text' | 'number' | 'whole';

/** One column of a table for researchers, with what its dictionary says. */
export interface ExportColumn<Row> {
  /** snake_case with its unit. */
  readonly name: string;
  readonly type: ColumnType;
  readonly unit: string;
  readonly definition: string;
  readonly method: string;
  readonly validRange: readonly [number, number] | null;
  /** @returns the cell; null stays empty. */
  readonly cell: (row: Row) => string | number | null;
}

type More<Row> = Partial<Pick<ExportColumn<Row>, 'method' | 'validRange'>>;

/** @returns a column of words. */
export function textColumn<Row>(
  name: string,
  definition: string,
  cell: (row: Row) => string | null,
  more: More<Row> = {},
): ExportColumn<Row> {
  return { name, type: 'text', unit: '', definition, method: '', validRange: null, ...more, cell };
}

/** @returns a column of numbers with their unit. */
export function numberColumn<Row>(
  name: string,
  unit: string,
  definition: string,
  cell: (row: Row) => number | null,
  more: More<Row> = {},
): ExportColumn<Row> {
  return { name, type: 'number', unit, definition, method: '', validRange: null, ...more, cell };
}

/** @returns a column of counts, or of yes and no as 1 and 0. */
export function wholeColumn<Row>(
  name: string,
  definition: string,
  cell: (row: Row) => number | null,
  more: More<Row> = {},
): ExportColumn<Row> {
  return { name, type: 'whole', unit: '1', definition, method: '', validRange: null, ...more, cell };
}
