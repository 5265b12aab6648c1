/** @returns the text in lines of at most `width` characters, broken between words; longer words stand alone. */
export function wrapText(text: string, width: number, indent = ''): string[] {
  const lines: string[] = [];
  let line = '';
  for (const word of text.split(/\s+/).filter((part) => part !== '')) {
    const longer = line === '' ? (lines.length === 0 ? word : `${indent}${word}`) : `${line} ${word}`;
    if (line !== '' && longer.length > width) {
      lines.push(line);
      line = `${indent}${word}`;
    } else line = longer;
  }
  return line === '' ? lines : [...lines, line];
}

/** A column of a table: its title, broken into lines where it has to be, and one cell a row. */
export interface TextColumn {
  readonly title: string;
  readonly cells: readonly string[];
}

const between = '  ';

/**
 * Sets a table in plain text. Columns that do not fit beside each other go on below, each part with the first column
 * before it.
 *
 * @returns lines; parts are separated by an empty one.
 */
export function layOutTable(first: TextColumn, columns: readonly TextColumn[], width: number): string[] {
  const firstSet = setColumn(first);
  const lines: string[] = [];
  let part = [firstSet];
  for (const column of columns.map(setColumn)) {
    const partWidth = [...part, column].reduce((sum, { width: own }) => sum + own + between.length, -between.length);
    if (part.length > 1 && partWidth > width) {
      lines.push(...printPart(part), '');
      part = [firstSet];
    }
    part.push(column);
  }
  return [...lines, ...printPart(part)];
}

interface SetColumn {
  readonly width: number;
  readonly titleLines: readonly string[];
  readonly cells: readonly string[];
}

function setColumn({ title, cells }: TextColumn): SetColumn {
  const cellWidth = Math.max(...cells.map((cell) => cell.length), 0);
  const titleLines = wrapText(title, Math.max(cellWidth, 11));
  return { width: Math.max(cellWidth, ...titleLines.map((line) => line.length)), titleLines, cells };
}

function printPart(columns: readonly SetColumn[]): string[] {
  const titleHeight = Math.max(...columns.map(({ titleLines }) => titleLines.length));
  const rows = columns[0]?.cells.length ?? 0;
  const line = (pick: (column: SetColumn) => string): string =>
    columns
      .map((column) => pick(column).padEnd(column.width))
      .join(between)
      .trimEnd();
  return [
    ...Array.from({ length: titleHeight }, (_, i) => line(({ titleLines }) => titleLines[i] ?? '')),
    line(({ width }) => '-'.repeat(width)),
    ...Array.from({ length: rows }, (_, i) => line(({ cells }) => cells[i] ?? '')),
  ];
}
