import { readFileSync } from 'node:fs';
import { parse } from 'csv-parse/sync';
import { SeamwiseError } from '../../foundation/errors.ts';
import type { StudySet } from '../../study/study-units.ts';
import { UsageError } from '../usage-error.ts';

/** Columns of a file of sets; the others are measures, a mean of the set each. */
const needed = ['day', 'condition', 'attempted'] as const;
const known = [...needed, 'player', 'made', 'outcomes'] as const;

/**
 * Reads sets from a CSV file: `player,day,condition,attempted,made,outcomes`, a row a set. `made` may be empty where nobody counted;
 * `outcomes` holds the single shots in order, 1 for a make and 0 for a miss, as `1101`, or nothing. Other columns are measures.
 *
 * @throws UsageError where the file cannot be read; SeamwiseError `statistic-input` for rows that make no sense.
 */
export function readStudyCsv(file: string): { readonly sets: StudySet[]; readonly measures: string[] } {
  let rows: Record<string, string>[];
  try {
    rows = parse(readFileSync(file), { columns: true, skip_empty_lines: true, trim: true, bom: true });
  } catch (error) {
    const why = error instanceof Error ? error.message : String(error);
    throw new UsageError(`${file} cannot be read as CSV: ${why}`);
  }
  const header = Object.keys(rows[0] ?? {});
  const missing = needed.filter((name) => !header.includes(name));
  if (rows.length === 0 || missing.length > 0) {
    throw new UsageError(
      `${file}: expected a header with ${needed.join(', ')} and a row a set, ${rows.length === 0 ? 'found no row' : `found no ${missing.join(', ')}`}`,
    );
  }
  const measures = header.filter((name) => !(known as readonly string[]).includes(name) && name !== '');
  const days = new Map<string, number>();
  const sets = rows.map((row, i): StudySet => {
    const line = i + 2;
    const attempted = whole(file, line, 'attempted', row.attempted ?? '');
    const outcomes = outcomesOf(file, line, row.outcomes ?? '');
    const day = row.day ?? '';
    if (!days.has(day)) days.set(day, days.size);
    return {
      player: row.player ?? '',
      day: days.get(day)!,
      condition: textOf(file, line, 'condition', row.condition ?? ''),
      attempts: attempted,
      makes:
        (row.made ?? '') === '' ? (outcomes?.filter(Boolean).length ?? null) : whole(file, line, 'made', row.made!),
      outcomes,
      values: Object.fromEntries(
        measures.map((name) => [name, (row[name] ?? '') === '' ? [] : [numberOf(file, line, name, row[name]!)]]),
      ),
    };
  });
  return { sets, measures };
}

function wrong(file: string, line: number, column: string, expected: string, came: string): SeamwiseError {
  return new SeamwiseError(
    'statistic-input',
    `${file}, line ${line}, ${column}: expected ${expected}, got ${JSON.stringify(came.slice(0, 40))}`,
  );
}

function textOf(file: string, line: number, column: string, text: string): string {
  if (text === '') throw wrong(file, line, column, 'a name', text);
  return text;
}

function whole(file: string, line: number, column: string, text: string): number {
  if (!/^\d{1,6}$/.test(text)) throw wrong(file, line, column, 'a whole number of shots', text);
  return Number(text);
}

function numberOf(file: string, line: number, column: string, text: string): number {
  const value = Number(text);
  if (!Number.isFinite(value)) throw wrong(file, line, column, 'a number', text);
  return value;
}

function outcomesOf(file: string, line: number, text: string): boolean[] | null {
  if (text === '') return null;
  if (!/^[01]+$/.test(text)) throw wrong(file, line, 'outcomes', '1 for a make and 0 for a miss, such as 1101', text);
  return [...text].map((letter) => letter === '1');
}
