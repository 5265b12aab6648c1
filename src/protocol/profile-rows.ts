/** Bytes of a board's notification → raw rows of the stream format, as a device profile says. Damage is a value. */
import type { BinaryStream, ProfileStream, ProfileTriple, Quantity, TextStream } from './device-profile.ts';
import { numberTypes } from './number-types.ts';

/** What one notification, or one line of text, holds. */
export interface ProfileRows {
  readonly count: number;
  /** Raw numbers of the stream format, three a row; null where the characteristic does not carry the quantity. */
  readonly accel: Int16Array | null;
  readonly gyro: Int16Array | null;
  readonly sequence: number | null;
  /** Time of the first row in the device's unit. */
  readonly tick: number | null;
}

/** Why bytes give no rows. */
export const profileProblems = {
  'too-short': 'fewer bytes than the profile says',
  'not-a-number': 'a value that is no finite number',
  columns: 'a line of text with other columns than the profile says',
  'line-too-long': 'a line of text without an end',
} as const;
export type ProfileProblem = keyof typeof profileProblems;

export type DecodedRows =
  | { readonly kind: 'rows'; readonly rows: ProfileRows }
  | { readonly kind: 'problem'; readonly problem: ProfileProblem };

/** Decodes one characteristic's notifications. */
export interface RowDecoder {
  push(bytes: Uint8Array): readonly DecodedRows[];
}

/** @returns a decoder; one for each connection, since a line of text may stand in several notifications. */
export function openRowDecoder(stream: ProfileStream): RowDecoder {
  return stream.mode === 'binary' ? { push: (bytes) => [decodeBinary(stream, bytes)] } : new LineDecoder(stream);
}

/** A notification never has more rows than this, whatever its length. */
const maxRows = 64;

function decodeBinary(stream: BinaryStream, bytes: Uint8Array): DecodedRows {
  const { rowOffset, rowBytes } = stream;
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const fitting = Math.min(maxRows, Math.floor((bytes.length - rowOffset) / rowBytes));
  const count = stream.rows === 'all' ? fitting : stream.rows;
  if (!(count >= 1 && count <= fitting)) return { kind: 'problem', problem: 'too-short' };
  const columns = { accel: null as Int16Array | null, gyro: null as Int16Array | null };
  for (const triple of stream.triples) {
    const out = new Int16Array(3 * count);
    for (let row = 0; row < count; row++) {
      for (let k = 0; k < 3; k++) {
        const at = rowOffset + row * rowBytes + triple.offset + k * triple.step;
        const value = numberTypes.read(view, at, triple.type, triple.littleEndian);
        if (!Number.isFinite(value)) return { kind: 'problem', problem: 'not-a-number' };
        put(out, 3 * row, triple, k, value);
      }
    }
    columns[triple.quantity] = out;
  }
  const counters: { sequence: number | null; tick: number | null } = { sequence: null, tick: null };
  for (const name of ['sequence', 'tick'] as const) {
    const counter = stream[name];
    if (counter === null) continue;
    if (counter.offset + numberTypes.bytesOf(counter.type) > bytes.length)
      return { kind: 'problem', problem: 'too-short' };
    const value = numberTypes.read(view, counter.offset, counter.type, counter.littleEndian);
    if (!Number.isFinite(value)) return { kind: 'problem', problem: 'not-a-number' };
    counters[name] = value;
  }
  return { kind: 'rows', rows: { count, ...columns, ...counters } };
}

const maxLineCharacters = 512;
const lineEnd = 10;
const carriageReturn = 13;
const plainNumber = /^[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?$/;

class LineDecoder implements RowDecoder {
  readonly #stream: TextStream;
  #line = '';
  /** What comes before the first line end may be the rest of a line. */
  #inStep = false;
  #tooLong = false;

  constructor(stream: TextStream) {
    this.#stream = stream;
  }

  push(bytes: Uint8Array): readonly DecodedRows[] {
    const decoded: DecodedRows[] = [];
    for (const byte of bytes) {
      if (byte === lineEnd) {
        if (this.#inStep && !this.#tooLong && this.#line.trim() !== '') decoded.push(this.#decodeLine(this.#line));
        this.#inStep = true;
        this.#tooLong = false;
        this.#line = '';
      } else if (byte !== carriageReturn && !this.#tooLong) {
        this.#line += String.fromCharCode(byte);
        if (this.#line.length > maxLineCharacters) {
          this.#tooLong = true;
          this.#line = '';
          if (this.#inStep) decoded.push({ kind: 'problem', problem: 'line-too-long' });
        }
      }
    }
    return decoded;
  }

  #decodeLine(line: string): DecodedRows {
    const { separator, triples, sequence, tick } = this.#stream;
    const fields = separator === ' ' ? line.trim().split(/ +/) : line.split(separator).map((field) => field.trim());
    const valueAt = (column: number): number => {
      const field = fields[column]!;
      return plainNumber.test(field) ? Number(field) : Number.NaN;
    };
    const columns = { accel: null as Int16Array | null, gyro: null as Int16Array | null };
    const needed = [...triples.flatMap((triple) => triple.columns), sequence?.column ?? 0, tick?.column ?? 0];
    if (Math.max(...needed) >= fields.length) return { kind: 'problem', problem: 'columns' };
    for (const triple of triples) {
      const out = new Int16Array(3);
      for (let k = 0; k < 3; k++) {
        const value = valueAt(triple.columns[k]!);
        if (!Number.isFinite(value)) return { kind: 'problem', problem: 'not-a-number' };
        put(out, 0, triple, k, value);
      }
      columns[triple.quantity] = out;
    }
    const counters = {
      sequence: sequence === null ? null : valueAt(sequence.column),
      tick: tick === null ? null : valueAt(tick.column),
    };
    if (Number.isNaN(counters.sequence) || Number.isNaN(counters.tick))
      return { kind: 'problem', problem: 'not-a-number' };
    return { kind: 'rows', rows: { count: 1, ...columns, ...counters } };
  }
}

const axisIndex = { x: 0, y: 1, z: 2 } as const;

/** Puts the k-th number of a triple where its axis says. */
function put(out: Int16Array, row: number, triple: ProfileTriple, k: number, value: number): void {
  const axis = triple.axes[k]!;
  const signed = axis.startsWith('-') ? -value : value;
  const raw = triple.passesThrough ? signed : Math.round((signed * triple.scaleSi) / triple.outScaleSi);
  // Beyond int16 is the end of the range, as the stream format has it.
  out[row + axisIndex[axis.at(-1) as 'x' | 'y' | 'z']] = Math.max(-32_768, Math.min(32_767, raw));
}

/** Whether a profile's rows have a gyroscope. */
export function hasQuantity(streams: readonly ProfileStream[], quantity: Quantity): boolean {
  return streams.some(({ triples }) => triples.some((triple) => triple.quantity === quantity));
}
