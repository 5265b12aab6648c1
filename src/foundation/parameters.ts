import { SeamwiseError } from './errors.ts';

/** Units a parameter may have, each with the ending its name must carry. A plain ratio or count has none. */
export const unitSuffixes = {
  s: 'S',
  Hz: 'Hz',
  m: 'M',
  'm/s': 'Mps',
  'm/s²': 'Mps2',
  'rad/s': 'Radps',
  'rad/s²': 'Radps2',
  rad: 'Rad',
  'rev/s': 'Rps',
  ppm: 'Ppm',
  'ppm/√s': 'PpmPerSqrtS',
  '1/s': 'PerS',
  '1/m': 'PerM',
  '': '',
} as const;

export type ParameterUnit = keyof typeof unitSuffixes;

/** One row of an algorithm's parameter table. */
export interface ParameterRow {
  readonly default: number;
  readonly unit: ParameterUnit;
  readonly min: number;
  readonly max: number;
  /** True where only whole numbers make sense. */
  readonly integer?: boolean;
  readonly meaning: string;
  /** What a small value does. */
  readonly small: string;
  /** What a large value does. */
  readonly large: string;
  /** Where the default comes from. */
  readonly source: string;
}

export type ParameterTable = Readonly<Record<string, ParameterRow>>;

/** A number for every row of the table. */
export type ParametersOf<T extends ParameterTable> = { readonly [Name in keyof T]: number };

/**
 * Completes given parameters with the defaults of the table.
 *
 * @returns a frozen object with a number for every row.
 * @throws SeamwiseError `parameter-unknown` for a name that has no row, `parameter-outside` for a value outside its
 *   range, not a number, or not whole where it must be.
 */
export function resolveParams<T extends ParameterTable>(
  table: T,
  given: { readonly [Name in keyof T]?: number | undefined } = {},
): ParametersOf<T> {
  for (const name of Object.keys(given)) {
    if (!Object.hasOwn(table, name)) {
      throw new SeamwiseError(
        'parameter-unknown',
        `${name} is not a parameter here: expected one of ${Object.keys(table).join(', ')}`,
      );
    }
  }
  const resolved: Record<string, number> = {};
  for (const [name, row] of Object.entries(table)) {
    const value: unknown = given[name] ?? row.default;
    const unit = row.unit === '' ? '' : ` ${row.unit}`;
    // Written this way round because a comparison with NaN is false.
    if (typeof value !== 'number' || !(value >= row.min && value <= row.max)) {
      throw new SeamwiseError(
        'parameter-outside',
        `${name} = ${String(value)}${unit} is outside ${row.min}..${row.max}${unit}`,
      );
    }
    if (row.integer === true && !Number.isInteger(value)) {
      throw new SeamwiseError('parameter-outside', `${name} = ${value}${unit} is not a whole number`);
    }
    resolved[name] = value;
  }
  return Object.freeze(resolved) as ParametersOf<T>;
}
