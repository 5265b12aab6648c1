/**
 * A mapping file says which columns of a foreign CSV recording hold what, in which unit:
 *
 *     {
 *       "version": 1,
 *       "time":  { "column": "Timestamp", "unit": "ms" },
 *       "accel": { "columns": ["Acc X", "Acc Y", "Acc Z"], "unit": "g" },
 *       "gyro":  { "columns": ["Gyr X", "Gyr Y", "Gyr Z"], "unit": "dps", "scale": [1, -1, 1], "offset": 0 }
 *     }
 *
 * `gyro` may be missing. `scale` and `offset`, one number or one an axis, are applied to the numbers of the file before the unit:
 * number × scale + offset. A scale of −1 turns an axis around.
 */
import { SeamwiseError } from '../../foundation/errors.ts';
import { findJsonFault } from './json-fault.ts';
import { type QuantityKind, unitSuffixes } from './unit-factors.ts';

/** One column that is used. */
export interface MappedColumn {
  readonly name: string;
  readonly scale: number;
  /** In the unit of the file. */
  readonly offset: number;
}

/** Columns of one quantity and their unit. */
export interface MappedQuantity {
  readonly columns: readonly MappedColumn[];
  readonly unit: string;
}

export interface CsvMapping {
  /** Name of the mapping file, for messages. */
  readonly file: string;
  readonly time: MappedQuantity;
  readonly accel: MappedQuantity;
  readonly gyro: MappedQuantity | null;
}

export const mappingVersion = 1;
/** Longer text is no mapping; guards against naming the wrong file. */
const mostCharacters = 65_536;
const example = '{"version":1,"time":{"column":"Time","unit":"ms"},"accel":{"columns":["X","Y","Z"],"unit":"g"}}';

/**
 * @param file name of the mapping file, for messages.
 * @throws SeamwiseError `mapping-file` with the place in the file and what was expected there.
 */
export function parseCsvMapping(text: string, file: string): CsvMapping {
  if (text.length > mostCharacters) {
    throw wrong(file, `a small JSON file such as ${example}`, `${text.length} characters`);
  }
  const place = new Place(file, parseJson(text.replace(/^\ufeff/, ''), file), '');
  const known = place.object(['version', 'time', 'accel', 'gyro']);
  const version = known('version');
  if (version.value !== mappingVersion) throw version.wrong(`${mappingVersion}`);
  const gyro = known('gyro');
  return {
    file,
    time: readQuantity(known('time'), 'time'),
    accel: readQuantity(known('accel'), 'accel'),
    gyro: gyro.value === undefined || gyro.value === null ? null : readQuantity(gyro, 'gyro'),
  };
}

function readQuantity(place: Place, kind: QuantityKind): MappedQuantity {
  const isTime = kind === 'time';
  const known = place.object([isTime ? 'column' : 'columns', 'unit', 'scale', 'offset']);
  const unit = known('unit');
  const units = unitSuffixes(kind);
  if (typeof unit.value !== 'string' || !units.includes(unit.value)) {
    throw unit.wrong(`one of ${units.map((each) => `"${each}"`).join(', ')}`);
  }
  const names = isTime ? [readName(known('column'))] : readNames(known('columns'));
  const scales = readNumbers(known('scale'), names.length, 1);
  const offsets = readNumbers(known('offset'), names.length, 0);
  if (isTime && !((scales[0] as number) > 0)) throw known('scale').wrong('a number greater than 0');
  if (scales.some((scale) => scale === 0)) throw known('scale').wrong('a number that is not 0');
  return {
    unit: unit.value,
    columns: names.map((name, at) => ({ name, scale: scales[at] as number, offset: offsets[at] as number })),
  };
}

function readName(place: Place): string {
  const { value } = place;
  if (typeof value !== 'string' || value.trim() === '') throw place.wrong('the name of a column, as the header has it');
  return value.trim();
}

function readNames(place: Place): string[] {
  const { value } = place;
  if (!Array.isArray(value) || value.length !== 3) throw place.wrong('a list of three column names, for x, y and z');
  return value.map((_, at) => readName(place.at(at)));
}

function readNumbers(place: Place, count: number, usual: number): number[] {
  const { value } = place;
  if (value === undefined) return Array(count).fill(usual);
  const all = Array.isArray(value) ? value : Array(count).fill(value);
  if (all.length !== count || !all.every((each) => typeof each === 'number' && Number.isFinite(each))) {
    throw place.wrong(count === 1 ? 'a number' : `a number, or a list of ${count} numbers`);
  }
  return all;
}

/** A value and where it stands, `accel.columns[1]`. */
class Place {
  readonly value: unknown;
  readonly #file: string;
  readonly #path: string;

  constructor(file: string, value: unknown, path: string) {
    this.#file = file;
    this.value = value;
    this.#path = path;
  }

  /** @returns what reads a field; fields that are not known are refused. */
  object(known: readonly string[]): (key: string) => Place {
    const { value } = this;
    if (typeof value !== 'object' || value === null || Array.isArray(value)) {
      throw this.wrong(`an object with ${known.join(', ')}`);
    }
    const fields = value as Record<string, unknown>;
    const strange = Object.keys(fields).find((key) => !known.includes(key));
    if (strange !== undefined) {
      throw wrong(
        this.#file,
        `${this.#path === '' ? 'only' : `in ${this.#path} only`} ${known.join(', ')}`,
        `the field ${JSON.stringify(strange.slice(0, 40))}`,
      );
    }
    return (key) =>
      new Place(
        this.#file,
        Object.hasOwn(fields, key) ? fields[key] : undefined,
        [this.#path, key].filter(Boolean).join('.'),
      );
  }

  at(index: number): Place {
    return new Place(this.#file, (this.value as unknown[])[index], `${this.#path}[${index}]`);
  }

  wrong(expected: string): SeamwiseError {
    const came = this.value === undefined ? 'nothing' : (JSON.stringify(this.value) ?? typeof this.value);
    const clipped = came.length > 80 ? `${came.slice(0, 80)}…` : came;
    return wrong(this.#file, `${expected}${this.#path === '' ? '' : ` in ${this.#path}`}`, clipped);
  }
}

function wrong(file: string, expected: string, came: string): SeamwiseError {
  return new SeamwiseError(
    'mapping-file',
    `mapping file ${file}: expected ${expected}; came ${came}. "seamwise import --help" says how a mapping file looks.`,
  );
}

function parseJson(text: string, file: string): unknown {
  try {
    return JSON.parse(text);
  } catch {
    const at = findJsonFault(text);
    const lines = text.slice(0, at).split('\n');
    const place = `line ${lines.length}, column ${(lines.at(-1)?.length ?? 0) + 1}`;
    throw wrong(`${file}, ${place}`, 'JSON', text.trim() === '' ? 'nothing' : describeAt(text, at));
  }
}

function describeAt(text: string, at: number): string {
  const rest = text.slice(at, at + 20).replaceAll(/[^\x20-\x7e]/g, '?');
  return rest === '' ? 'the end of the text' : `"${rest}"`;
}
