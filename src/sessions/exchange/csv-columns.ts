import { parse } from 'csv-parse/sync';
import { UnreadableRecordingError } from '../unreadable.ts';
import { type QuantityKind, unitFactor, unitSuffixes } from './unit-factors.ts';

/** Where a recording's quantities stand in the columns of its CSV file, and what turns them into SI. */
export interface CsvColumns {
  /** Line of the header, counted from 1; rows stand below it. */
  readonly headerLine: number;
  /** Columns a row must have. */
  readonly width: number;
  readonly names: readonly string[];
  /** Column of the time, then of ax, ay, az and, with a gyroscope, gx, gy, gz: 4 or 7 values. */
  readonly at: readonly number[];
  /** Factor to SI of each of those, in the same order. */
  readonly toSi: readonly number[];
  /** Added behind the factor, SI; none where it is left out. */
  readonly offsetsSi?: readonly number[];
  /** Factors of the units alone, where others are multiplied in. */
  readonly unitToSi?: readonly number[];
  /** True where a mapping file says the units and not the names. */
  readonly mapped?: boolean;
  readonly hasGyro: boolean;
  /** Names of the columns that are not used. */
  readonly ignored: readonly string[];
}

const expectedHeader = 't_s,ax_mps2,ay_mps2,az_mps2,gx_radps,gy_radps,gz_radps';
const quantities = [
  { name: 't', kind: 'time' },
  { name: 'ax', kind: 'accel' },
  { name: 'ay', kind: 'accel' },
  { name: 'az', kind: 'accel' },
  { name: 'gx', kind: 'gyro' },
  { name: 'gy', kind: 'gyro' },
  { name: 'gz', kind: 'gyro' },
] as const satisfies readonly { name: string; kind: QuantityKind }[];

function unitsSentence(): string {
  return `time ${unitSuffixes('time').join(', ')}; acceleration ${unitSuffixes('accel').join(', ')}; turning rate ${unitSuffixes('gyro').join(', ')}`;
}

function shortened(text: string): string {
  const clean = text.replaceAll(/[^\x20-\x7e\u00a0-\uffff]/g, '?');
  return clean.length > 120 ? `${clean.slice(0, 120)}…` : clean;
}

/**
 * Reads the header line of a CSV recording.
 *
 * The columns may stand in any order, the three gyro columns may be missing together, and further columns are
 * ignored. Units stand in the names (`ax_g`, `gx_dps`, `t_ms`), in small or capital letters.
 *
 * @param line the header line, without its line end.
 * @param headerLine its number in the file, counted from 1.
 * @throws UnreadableRecordingError `recording-separator` or `recording-header`.
 */
export async function parseCsvHeader(path: string, line: string, headerLine = 1): Promise<CsvColumns> {
  const where = `${path}, line ${headerLine}`;
  const wrong = (came: string, remedy: string): UnreadableRecordingError =>
    new UnreadableRecordingError('recording-header', {
      where,
      expected: `the header ${expectedHeader} (gyro columns may be missing)`,
      came,
      remedy,
    });
  refuseOtherSeparators(where, line);
  let names: string[];
  try {
    const rows: string[][] = parse(line, { trim: true });
    names = rows[0] ?? [];
  } catch (error) {
    throw wrong(
      `"${shortened(line)}" (${error instanceof Error ? error.message : error})`,
      'Repair the quotes in the header line.',
    );
  }
  const lower = names.map((name) => name.toLowerCase());
  const at: number[] = [];
  const units: { kind: QuantityKind; suffix: string }[] = [];
  for (const quantity of quantities) {
    const mine = lower.flatMap((name, index) => (name.startsWith(`${quantity.name}_`) ? [index] : []));
    const known = mine.filter((index) => unitSuffixes(quantity.kind).includes(suffixOf(lower[index] as string)));
    if (known.length > 1) {
      const twice = known.map((index) => names[index]).join(' and ');
      throw wrong(`${quantity.name} twice (${twice})`, 'Keep one of them; rename or remove the other.');
    }
    if (known.length === 1) {
      at.push(known[0] as number);
      units.push({ kind: quantity.kind, suffix: suffixOf(lower[known[0] as number] as string) });
    } else if (mine.length > 0) {
      const name = names[mine[0] as number] as string;
      throw wrong(`the column ${shortened(name)}, whose unit is not known`, `Units known: ${unitsSentence()}.`);
    } else {
      at.push(-1);
    }
  }
  const missing = quantities.filter((_, index) => at[index] === -1).map((quantity) => quantity.name);
  const gyroMissing = missing.filter((name) => name.startsWith('g'));
  const needed = missing.filter((name) => !name.startsWith('g'));
  if (needed.length > 0) {
    const noHeader = names.every((name) => name !== '' && Number.isFinite(Number(name)));
    throw wrong(
      noHeader
        ? `numbers instead of names: "${shortened(line)}"`
        : `"${shortened(line)}", without ${needed.join(', ')}`,
      `Put column names above the rows, each with its unit. Units known: ${unitsSentence()}.`,
    );
  }
  if (gyroMissing.length > 0 && gyroMissing.length < 3) {
    throw wrong(`"${shortened(line)}", without ${gyroMissing.join(', ')}`, 'Give all three gyro columns or none.');
  }
  const hasGyro = gyroMissing.length === 0;
  const used = at.filter((index) => index >= 0);
  return {
    headerLine,
    width: names.length,
    names,
    at: used,
    toSi: await Promise.all(units.map(({ kind, suffix }) => unitFactor(kind, suffix))),
    hasGyro,
    ignored: names.filter((_, index) => !used.includes(index)),
  };
}

function suffixOf(name: string): string {
  return name.slice(name.indexOf('_') + 1);
}

/** @throws UnreadableRecordingError `recording-separator` for a header whose columns are not separated by commas. */
export function refuseOtherSeparators(where: string, line: string): void {
  if (line.includes(',')) return;
  const separator = line.includes(';') ? 'semicolons' : line.includes('\t') ? 'tab characters' : null;
  if (separator === null) return;
  throw new UnreadableRecordingError('recording-separator', {
    where,
    expected: 'columns separated by commas and numbers with a decimal point',
    came: `columns separated by ${separator}: "${shortened(line.replaceAll('\t', '  '))}"`,
    remedy: 'Export again with commas (and decimal points), or replace the separators.',
  });
}
