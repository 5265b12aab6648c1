/** Which columns of a CSV file are what, as a person chooses it. Empty: not chosen. */
export interface ColumnChoice {
  readonly time: string;
  readonly timeUnit: string;
  readonly accel: readonly [string, string, string];
  readonly accelUnit: string;
  readonly gyro: readonly [string, string, string];
  readonly gyroUnit: string;
}

export const timeUnits = ['s', 'ms', 'us', 'ns'] as const;
export const accelUnits = ['mps2', 'g', 'mg', 'cmps2'] as const;
export const gyroUnits = ['radps', 'mradps', 'dps', 'mdps', 'revps', 'rpm'] as const;

/** @returns the names in the first line of a file, as far as it is text; quotes are taken off. */
export function headerColumns(start: string): readonly string[] {
  const [line = ''] = start.replace(/^\ufeff/, '').split(/\r?\n/);
  const names = line.match(/\s*"(?:[^"]|"")*"|[^,]+/g) ?? [];
  return names
    .map((name) => name.trim().replace(/^"|"$/g, '').replaceAll('""', '"').trim())
    .filter((name) => name !== '');
}

/** @returns whether the names say by themselves what the columns are. */
export function saysItself(names: readonly string[]): boolean {
  const low = names.map((name) => name.toLowerCase());
  const has = (stem: string) => low.some((name) => name.startsWith(`${stem}_`));
  return ['t', 'ax', 'ay', 'az'].every(has);
}

/** @returns a first guess: columns whose names begin alike and end in x, y and z. */
export function guessedColumns(names: readonly string[]): ColumnChoice {
  const find = (pattern: RegExp): string => names.find((name) => pattern.test(name)) ?? '';
  const triple = (what: string) =>
    ['x', 'y', 'z'].map((axis) =>
      find(new RegExp(`^${what}.*[\\s_.-]?${axis}\\b|^${what}.*${axis}$|^${axis}.*${what}`, 'i')),
    ) as unknown as [string, string, string];
  return {
    time: find(/^(t$|t_|time|clock|zeit|date)/i),
    timeUnit: 's',
    accel: triple('a(cc)?'),
    accelUnit: 'mps2',
    gyro: triple('g(yr)?'),
    gyroUnit: 'radps',
  };
}

/** @returns what a mapping file would say, or null where the time or an axis of the acceleration is not chosen. */
export function mappingOf({ time, timeUnit, accel, accelUnit, gyro, gyroUnit }: ColumnChoice): object | null {
  if (time === '' || accel.includes('')) return null;
  const isWithGyro = !gyro.includes('');
  return {
    version: 1,
    time: { column: time, unit: timeUnit },
    accel: { columns: accel, unit: accelUnit },
    ...(isWithGyro && { gyro: { columns: gyro, unit: gyroUnit } }),
  };
}
