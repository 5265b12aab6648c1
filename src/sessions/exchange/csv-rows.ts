import type { OpenedFile } from '../recording-file.ts';
import type { BadRowBook } from './bad-rows.ts';
import type { CsvColumns } from './csv-columns.ts';
import { longestLineBytes, readLines } from './csv-lines.ts';
import { splitCsvRow } from './csv-split.ts';

/** Rows of a CSV recording in SI units, times strictly increasing. The arrays belong to the receiver. */
export interface RowBlock {
  readonly length: number;
  /** s, n values. */
  readonly timeS: Float64Array;
  /** m/s², interleaved x y z, 3n values. */
  readonly accelMps2: Float64Array;
  /** rad/s, interleaved x y z, 3n values; null without gyro columns. */
  readonly gyroRadps: Float64Array | null;
  /** Most decimal places seen in the time column so far. */
  readonly timeDecimals: number;
  /** Bytes of the file consumed. */
  readonly endByte: number;
}

/**
 * A time this many steps ahead of both its neighbours is taken for wrong itself, instead of all rows after it.
 * Small: swapped neighbours (one step ahead) must not count; large: a slip of a few rows would.
 */
const strayTimeSteps = 5;

/**
 * More than any clock (s) or sensor (m/s², rad/s) gives, even where its unit is named wrongly: nanoseconds since 1970 called
 * seconds are 2e18. The squares of squares of what lies beyond overflow.
 */
const mostSi = { time: 1e20, reading: 1e12 } as const;

/**
 * Reads the rows after the header. Rows that cannot be used are told to `bad` and skipped; blank lines are no rows.
 *
 * One row is held back until the next one shows whether its time can be right.
 */
export async function* readCsvRows(file: OpenedFile, columns: CsvColumns, bad: BadRowBook): AsyncGenerator<RowBlock> {
  const { at, toSi, width } = columns;
  const offsetsSi = columns.offsetsSi ?? toSi.map(() => 0);
  const timeAt = at[0] as number;
  const values = new Float64Array(at.length);
  const channels = columns.hasGyro ? 6 : 3;
  const held = new Float64Array(1 + channels);
  let heldLine = 0;
  let lastTimeS = Number.NEGATIVE_INFINITY;
  let aboveS = Number.NEGATIVE_INFINITY;
  let aboveText = '';
  let timeDecimals = 0;

  for await (const batch of readLines(file)) {
    const most = batch.lines.length + 1;
    const timeS = new Float64Array(most);
    const accelMps2 = new Float64Array(3 * most);
    const gyroRadps = columns.hasGyro ? new Float64Array(3 * most) : null;
    let length = 0;
    const emitHeld = (): void => {
      timeS[length] = held[0] as number;
      for (let k = 0; k < 3; k++) accelMps2[3 * length + k] = held[1 + k] as number;
      if (gyroRadps) for (let k = 0; k < 3; k++) gyroRadps[3 * length + k] = held[4 + k] as number;
      lastTimeS = held[0] as number;
      length += 1;
    };

    for (let index = Math.max(0, columns.headerLine + 1 - batch.firstLine); index < batch.lines.length; index++) {
      const text = batch.lines[index] as string | null;
      const line = batch.firstLine + index;
      if (text === '') continue;
      if (text === null) {
        bad.add(line, `longer than ${longestLineBytes} characters`);
        continue;
      }
      const fields = splitCsvRow(text);
      if (fields === null) {
        bad.add(line, 'expected a closing quote, got the end of the line');
        continue;
      }
      if (fields.length !== width) {
        if (text.trim() === '') continue;
        bad.add(line, `expected ${width} columns as in the header, got ${fields.length}`);
        continue;
      }
      let wrong: string | null = null;
      for (let k = 0; k < at.length && wrong === null; k++) {
        const field = fields[at[k] as number] as string;
        const value = parseNumber(field);
        const inSi = value * (toSi[k] as number) + (offsetsSi[k] as number);
        if (Math.abs(inSi) <= (k === 0 ? mostSi.time : mostSi.reading)) values[k] = inSi;
        else if (Number.isFinite(value)) {
          wrong = `column ${columns.names[at[k] as number]}: expected a number that a sensor can give, got ${field.trim().slice(0, 24)}, which is ${inSi.toPrecision(3)} in SI units`;
        } else wrong = `column ${columns.names[at[k] as number]}: ${describeNonNumber(field)}`;
      }
      if (wrong !== null) {
        bad.add(line, wrong);
        continue;
      }
      const now = values[0] as number;
      const timeText = (fields[timeAt] as string).trim();
      if (now < aboveS) bad.stepBack({ line, time: timeText, timeAbove: aboveText });
      aboveS = now;
      aboveText = timeText;
      const heldTimeS = held[0] as number;
      if (heldLine > 0 && now <= heldTimeS) {
        // Before the first accepted row nothing tells which of the two is wrong; keeping the later one costs least.
        const isFirst = lastTimeS === Number.NEGATIVE_INFINITY;
        const runsAhead = now > lastTimeS && heldTimeS - lastTimeS > strayTimeSteps * (now - lastTimeS);
        const timeName = columns.names[timeAt];
        if (now === heldTimeS || !(isFirst || runsAhead)) {
          const how = now === heldTimeS ? 'repeats' : 'goes back before';
          if (now === heldTimeS) bad.repeatCount += 1;
          bad.addTime(line, `column ${timeName}: time ${timeText} ${how} that of line ${heldLine}`);
          continue;
        }
        bad.addTime(heldLine, `column ${timeName}: time is ahead of the rows after it (${timeText} on line ${line})`);
      } else if (heldLine > 0) {
        emitHeld();
      }
      timeDecimals = Math.max(timeDecimals, decimalPlaces(fields[timeAt] as string));
      held.set(values);
      heldLine = line;
    }
    yield { length, timeS, accelMps2, gyroRadps, timeDecimals, endByte: batch.endByte };
  }
  if (heldLine > 0) {
    const rows = held.slice();
    yield {
      length: 1,
      timeS: rows.slice(0, 1),
      accelMps2: rows.slice(1, 4),
      gyroRadps: columns.hasGyro ? rows.slice(4, 7) : null,
      timeDecimals,
      endByte: file.sizeBytes,
    };
  }
}

/** @returns the decimal number in a field, plain or in quotes; NaN for anything else (also an empty field or 0x10). */
export function parseNumber(field: string): number {
  let digits = 0;
  for (let k = 0; k < field.length; k++) {
    const code = field.charCodeAt(k);
    if (code >= 48 && code <= 57) digits += 1;
    else if (code > 57 && code !== 69 && code !== 101) return Number.NaN;
  }
  if (digits === 0) return Number.NaN;
  const value = Number(field);
  if (!Number.isNaN(value)) return value;
  const bare = /^\s*"([^"]*)"\s*$/.exec(field);
  return bare ? Number(bare[1]) : Number.NaN;
}

function describeNonNumber(field: string): string {
  const text = field
    .trim()
    .replace(/^"(.*)"$/, '$1')
    .trim();
  if (text === '') return 'expected a number, got nothing';
  if (/^[+-]?nan$/i.test(text)) return 'expected a number, got NaN';
  if (/^[+-]?inf(inity)?$/i.test(text) || Math.abs(parseNumber(text)) === Number.POSITIVE_INFINITY)
    return `expected a finite number, got ${text.slice(0, 24)}`;
  const clean = text.replaceAll(/[^\x20-\x7e]/g, '?');
  return `expected a number, got "${clean.length > 24 ? `${clean.slice(0, 24)}…` : clean}"`;
}

function decimalPlaces(field: string): number {
  const point = field.indexOf('.');
  if (point < 0 || /[eE]/.test(field)) return 0;
  let end = point + 1;
  while (field.charCodeAt(end) >= 48 && field.charCodeAt(end) <= 57) end += 1;
  return end - point - 1;
}
