/**
 * Factors from the units that a CSV column name may carry to SI. Everything but SI itself is taken from mathjs,
 * which is loaded only when a file needs it (its import costs more than reading a short recording).
 */

/** Unit suffix → expression in mathjs units; null is the SI unit itself. */
const unitsByKind = {
  time: { s: null, ms: 'ms', us: 'us', ns: 'ns' },
  accel: { mps2: null, g: 'gravity', mg: '0.001 gravity', cmps2: 'cm/s^2' },
  gyro: { radps: null, mradps: 'mrad/s', dps: 'deg/s', mdps: '0.001 deg/s', revps: 'cycle/s', rpm: 'cycle/minute' },
} as const satisfies Record<string, Record<string, string | null>>;

export type QuantityKind = keyof typeof unitsByKind;

const siUnit = { time: 's', accel: 'm/s^2', gyro: 'rad/s' } as const;

/** @returns the unit suffixes that a column of this kind may carry, SI first. */
export function unitSuffixes(kind: QuantityKind): readonly string[] {
  return Object.keys(unitsByKind[kind]);
}

/**
 * @returns how many SI units one of the named unit is.
 * @throws RangeError for a suffix that is not on the list.
 */
export async function unitFactor(kind: QuantityKind, suffix: string): Promise<number> {
  const known: Readonly<Record<string, string | null>> = unitsByKind[kind];
  const expression = Object.hasOwn(known, suffix) ? known[suffix] : undefined;
  if (expression === undefined)
    throw new RangeError(`unit "${suffix}" of ${kind}: expected one of ${unitSuffixes(kind).join(', ')}`);
  if (expression === null) return 1;
  const math = await import('mathjs');
  const gravity = /^(?:(\S+) )?gravity$/.exec(expression);
  if (gravity) return math.gravity.toNumber(siUnit.accel) * Number(gravity[1] ?? 1);
  return math.unit(/^\d/.test(expression) ? expression : `1 ${expression}`).toNumber(siUnit[kind]);
}
