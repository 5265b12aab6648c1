import { type FileHandle, open } from 'node:fs/promises';
import path from 'node:path';
import { ByteWriter, ParquetWriter, schemaFromColumnData } from 'hyparquet-writer';
import type { ColumnType, ExportColumn } from './export-column.ts';

const parquetTypes = { text: 'STRING', number: 'DOUBLE', whole: 'INT32' } as const satisfies Record<ColumnType, string>;

/** Cells that are kept in memory before they are written. */
const mostCells = 500_000;

type Cell = string | number | null;

/**
 * Writes one table as CSV (RFC 4180, UTF-8, LF) and as Apache Parquet, row for row the same, with bounded memory. Empty cells
 * are nothing in CSV and null in Parquet.
 */
export class TableWriter<Row> {
  readonly #columns: readonly ExportColumn<Row>[];
  readonly #csv: FileHandle;
  readonly #parquetFile: FileHandle;
  readonly #bytes = new ByteWriter();
  readonly #parquet: ParquetWriter;
  #cells: Cell[][];
  #waiting = 0;
  #rowCount = 0;

  private constructor(columns: readonly ExportColumn<Row>[], csv: FileHandle, parquetFile: FileHandle) {
    this.#columns = columns;
    this.#csv = csv;
    this.#parquetFile = parquetFile;
    this.#cells = columns.map(() => []);
    const columnData = columns.map(({ name, type }) => ({ name, type: parquetTypes[type], nullable: true, data: [] }));
    this.#parquet = new ParquetWriter({ writer: this.#bytes, schema: schemaFromColumnData({ columnData }) });
  }

  /** Makes `<name>.csv` and `<name>.parquet`. */
  static async create<Row>(
    folder: string,
    name: string,
    columns: readonly ExportColumn<Row>[],
  ): Promise<TableWriter<Row>> {
    const csv = await open(path.join(folder, `${name}.csv`), 'wx', 0o600);
    let parquetFile: FileHandle;
    try {
      parquetFile = await open(path.join(folder, `${name}.parquet`), 'wx', 0o600);
    } catch (error) {
      await csv.close();
      throw error;
    }
    await csv.appendFile(`${columns.map(({ name: column }) => csvCell(column)).join(',')}\n`);
    return new TableWriter(columns, csv, parquetFile);
  }

  get rowCount(): number {
    return this.#rowCount;
  }

  async add(row: Row): Promise<void> {
    for (const [at, { cell }] of this.#columns.entries()) {
      const value = cell(row);
      // CSV cannot tell an empty text from none.
      this.#cells[at]?.push(value === '' ? null : value);
    }
    this.#rowCount += 1;
    this.#waiting += 1;
    if (this.#waiting * this.#columns.length >= mostCells) await this.#write();
  }

  /** Writes what is left and closes both files. */
  async close(): Promise<void> {
    try {
      if (this.#waiting > 0) await this.#write();
      await this.#parquet.finish();
      await this.#flush();
    } finally {
      await this.abandon();
    }
  }

  /** Closes both files as they are. */
  async abandon(): Promise<void> {
    await Promise.all([this.#csv.close(), this.#parquetFile.close()]);
  }

  async #write(): Promise<void> {
    const cells = this.#cells;
    const lines: string[] = [];
    for (let row = 0; row < this.#waiting; row++) {
      lines.push(cells.map((column) => csvCell(column[row] ?? null)).join(','));
    }
    await this.#csv.appendFile(`${lines.join('\n')}\n`);
    const columnData = this.#columns.map(({ name }, at) => ({ name, data: cells[at] ?? [] }));
    await this.#parquet.write({ columnData, rowGroupSize: this.#waiting });
    await this.#flush();
    this.#cells = this.#columns.map(() => []);
    this.#waiting = 0;
  }

  async #flush(): Promise<void> {
    await this.#parquetFile.appendFile(new Uint8Array(this.#bytes.getBytes()));
    // Offsets in the file go on counting; only what is on the disk is forgotten.
    this.#bytes.index = 0;
  }
}

/**
 * @returns the cell as it stands in a CSV file. Text that a spreadsheet would take for a formula gets an apostrophe in front,
 *   as those programs read it.
 */
export function csvCell(value: Cell): string {
  if (value === null) return '';
  if (typeof value === 'number') return String(value);
  const safe = defused(value);
  return /[",\n\r]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
}

/** @returns text that no spreadsheet takes for a formula. */
export function defused(text: string): string {
  return /^\s*[=+\-@\t\r\uFF1D\uFF0B\uFF0D\uFF20]/.test(text) ? `'${text}` : text;
}
