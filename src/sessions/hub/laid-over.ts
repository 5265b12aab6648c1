import type { HandedRow } from './handed-tables.ts';

/** An entry of the log of changes, as far as it decides what stands in a row. */
export interface RowEdit {
  readonly id: string;
  readonly at_s: number;
  readonly before_row: string | null;
  readonly after_row: string | null;
}

/**
 * Lays what people changed over a row, whatever came in which order: a column that somebody changed holds what was put there last,
 * wherever that was; what nobody changed holds what the program wrote. Two changes of one instant are told apart by their ids.
 * Only columns that the row has are looked at.
 */
export function laidOver(row: HandedRow, edits: readonly RowEdit[]): HandedRow {
  const laid: Record<string, string | number | null> = { ...row };
  for (const { before_row, after_row } of [...edits].sort(byTime)) {
    if (before_row === null || after_row === null) continue;
    const before = JSON.parse(before_row) as Readonly<Record<string, unknown>>;
    const after = JSON.parse(after_row) as Readonly<Record<string, unknown>>;
    for (const name of Object.keys(row)) {
      if (name === 'id' || !(name in after) || before[name] === after[name]) continue;
      laid[name] = after[name] as string | number | null;
    }
  }
  return laid;
}

/** @returns whether the last that somebody did was to take the row away; false where nobody did. */
export function isTakenAway(edits: readonly RowEdit[]): boolean {
  return [...edits].sort(byTime).at(-1)?.after_row === null;
}

/** @returns the last of the changes, or undefined. */
export function lastEdit<Edit extends RowEdit>(edits: readonly Edit[]): Edit | undefined {
  return [...edits].sort(byTime).at(-1);
}

/** Order of changes: by time, and of one instant by id. */
export function byTime(one: RowEdit, other: RowEdit): number {
  return one.at_s - other.at_s || (one.id < other.id ? -1 : one.id > other.id ? 1 : 0);
}
