import { usUnitOf } from '../foundation/us-units.ts';
import type { ShotMeasureName, WireMeasured } from '../server/wire/shot-document.ts';
import { shownNumber } from './locale/numbers.ts';

/** How a measure is shown. The unit on the page may differ from the one in its name. */
export interface MeasureFormat {
  readonly name: ShotMeasureName;
  readonly group: 'timing' | 'spin' | 'flight' | 'hands' | 'arm';
  readonly unit: 's' | 'ms' | 'cm' | 'm' | 'm/s' | 'rev/s' | '°' | '°/s' | '%' | 'in' | 'ft' | 'ft/s' | 'rpm';
  /** Factor from the unit in the name to the shown one. */
  readonly scale: number;
  readonly decimals: number;
  /** Which words stand for the sign, where it means a side; without, a minus is shown. */
  readonly sides?: 'left-right' | 'off-hand' | 'turning';
  /** Least span of the drawing of many shots, in the shown unit, so that noise does not look like change; its ends are multiples of a quarter of it. */
  readonly leastSpan: number;
}

function format(
  name: ShotMeasureName,
  group: MeasureFormat['group'],
  unit: MeasureFormat['unit'],
  decimals: number,
  leastSpan: number,
  more: { readonly scale?: number; readonly sides?: MeasureFormat['sides'] } = {},
): MeasureFormat {
  const { scale = 1, sides } = more;
  return { name, group, unit, scale, decimals, leastSpan, ...(sides ? { sides } : {}) };
}

/** Every measure of a shot, in the order of the list. */
export const measureFormats: readonly MeasureFormat[] = [
  format('pickupToReleaseS', 'timing', 's', 2, 0.2),
  format('liftToReleaseS', 'timing', 's', 2, 0.2),
  format('pauseS', 'timing', 's', 2, 0.2),
  format('flightS', 'timing', 's', 2, 0.2),
  format('backspinRps', 'spin', 'rev/s', 2, 0.4),
  format('axisTiltDeg', 'spin', '°', 1, 8, { sides: 'left-right' }),
  format('spinRps', 'spin', 'rev/s', 2, 0.4),
  format('sidespinRps', 'spin', 'rev/s', 2, 0.4, { sides: 'left-right' }),
  format('rifleSpinRps', 'spin', 'rev/s', 2, 0.4, { sides: 'turning' }),
  format('spinBeforeLiftRps', 'spin', 'rev/s', 2, 0.4),
  format('launchAngleDeg', 'flight', '°', 1, 4),
  format('launchSpeedMps', 'flight', 'm/s', 2, 0.4),
  format('entryAngleDeg', 'flight', '°', 1, 4),
  format('apexM', 'flight', 'm', 2, 0.4),
  format('speedMarginMps', 'flight', 'm/s', 2, 0.4),
  format('contactHardnessMps', 'flight', 'm/s', 1, 1),
  format('dipDepthM', 'hands', 'cm', 0, 8, { scale: 100 }),
  format('sidePathM', 'hands', 'cm', 0, 8, { scale: 100, sides: 'left-right' }),
  format('sidewaysImpulseMps', 'hands', 'm/s', 2, 0.2, { sides: 'left-right' }),
  format('snapPeakDegps', 'arm', '°/s', 0, 80),
  format('snapToReleaseS', 'arm', 'ms', 0, 20, { scale: 1000 }),
  format('forearmElevationDeg', 'arm', '°', 0, 8),
  format('pathPlanarity', 'arm', '%', 1, 4, { scale: 100 }),
  format('followThroughS', 'arm', 's', 2, 0.2),
  format('headingChangeDeg', 'arm', '°', 0, 8, { sides: 'left-right' }),
];

export function formatOf(name: ShotMeasureName): MeasureFormat {
  return measureFormats.find((candidate) => candidate.name === name) as MeasureFormat;
}

/** What of the settings decides how numbers are shown. */
export interface ShownUnits {
  readonly units: 'metric' | 'us';
  readonly spin: 'rev/s' | 'rpm';
  readonly hand: 'right' | 'left';
}

/** @returns the format in the units, and with the words for the sides, of one user. */
export function shownFormat(name: ShotMeasureName, { units, spin, hand }: ShownUnits): MeasureFormat {
  const format = formatOf(name);
  const turned = format.sides === 'left-right' && hand === 'left' ? { ...format, sides: 'off-hand' as const } : format;
  if (format.unit === 'rev/s' && spin === 'rpm') {
    return { ...turned, unit: 'rpm', scale: 60, decimals: 0, leastSpan: 60 * format.leastSpan };
  }
  const us = units === 'us' ? usUnitOf(format.unit) : null;
  if (us === null) return turned;
  const { unit, factor, decimals } = us;
  const wide = format.leastSpan * factor;
  // A quarter of the span is a step of the scale: a round number too.
  const leastSpan = wide < 1 ? 1 : Math.ceil(wide);
  return { ...turned, unit, scale: format.scale * factor, decimals, leastSpan };
}

/** A measured value in the texts of the page's unit, without unit. */
export interface ShownValue {
  readonly value: string;
  /** One standard error, never shown as zero. */
  readonly error: string;
  /** Ends of the 90 % interval where it is lopsided. */
  readonly interval: readonly [ShownNumber, ShownNumber] | null;
  /** −1, 0 or 1, of the value as shown; the text has no minus where sides stand for it. */
  readonly sign: number;
}

export interface ShownNumber {
  readonly value: string;
  readonly sign: number;
}

/** @returns the texts of a measured value, or null where there is none. */
export function showValue(measured: WireMeasured, format: MeasureFormat): ShownValue | null {
  if (measured.value === null) return null;
  const { scale, decimals } = format;
  const error = Math.max(measured.standardError * scale, 10 ** -decimals);
  const [low, high] = measured.interval90 ?? [];
  return {
    ...showNumber(measured.value, format),
    error: fixed(error, decimals),
    interval: low === undefined || high === undefined ? null : [showNumber(low, format), showNumber(high, format)],
  };
}

/** @returns a bare number in the shown unit, with its minus even where sides stand for the sign. */
export function bareNumber(value: number, { scale, decimals }: MeasureFormat): string {
  return fixed(value * scale, decimals);
}

/** @returns a number in the shown unit, with its sign apart where sides stand for it. */
export function showNumber(number: number, { scale, decimals, sides }: MeasureFormat): ShownNumber {
  const text = fixed(number * scale, decimals);
  // What rounds to nothing has no sign, whatever the marks of the country.
  const sign = /[1-9]/.test(text) ? Math.sign(number) : 0;
  return { value: sides || sign === 0 ? text.replace('−', '') : text, sign };
}

/** @returns the ends of the 90 % interval in the shown unit, or null where there is no value. */
export function interval90(measured: WireMeasured, { scale }: MeasureFormat): readonly [number, number] | null {
  if (measured.value === null) return null;
  const half = 1.6448536269514722 * measured.standardError;
  const [low, high] = measured.interval90 ?? [measured.value - half, measured.value + half];
  return [low * scale, high * scale];
}

function fixed(value: number, decimals: number): string {
  return shownNumber(value, decimals);
}
