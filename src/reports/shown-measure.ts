import { usUnitOf } from '../foundation/us-units.ts';
import type { ShotMeasureName } from '../shots/shot.ts';
import { plainNumber } from './plain-number.ts';
import type { ReportUnits } from './report-input.ts';

interface MeasureWords {
  readonly label: string;
  /** One sentence for somebody who does not coach. */
  readonly plain: string;
  readonly unit: 's' | 'ms' | 'cm' | 'm' | 'm/s' | 'rev/s' | '°' | '°/s' | '%';
  readonly scale: number;
  readonly decimals: number;
  readonly sided?: true;
}

const words: Readonly<Record<ShotMeasureName, MeasureWords>> = {
  pickupToReleaseS: say('Pickup to release', 'how long from taking the ball to letting it go', 's', 2),
  liftToReleaseS: say('Lift to release', 'how long from the lowest point to letting it go', 's', 2),
  pauseS: say('Pause', 'how long the ball stands still on its way up', 's', 2),
  dipDepthM: say('Dip', 'how far the ball sinks before it rises', 'cm', 0, { scale: 100 }),
  sidePathM: say('Path to the side', 'how far the ball swings to the side', 'cm', 0, { scale: 100, sided: true }),
  flightS: say('Flight', 'how long the ball is in the air', 's', 2),
  spinRps: say('Spin', 'how fast the ball turns', 'rev/s', 2),
  backspinRps: say('Backspin', 'how fast the ball turns backward', 'rev/s', 2),
  sidespinRps: say('Sidespin', 'how fast the ball turns sideways', 'rev/s', 2, { sided: true }),
  rifleSpinRps: say('Rifle spin', 'how fast the ball turns about its direction', 'rev/s', 2),
  axisTiltDeg: say('Tilt of the spin axis', 'how straight the ball turns backward', '°', 1, { sided: true }),
  launchSpeedMps: say('Launch speed', 'how fast the ball leaves the hand', 'm/s', 2),
  launchAngleDeg: say('Launch angle', 'how steeply the ball goes up', '°', 1),
  entryAngleDeg: say('Entry angle', 'how steeply the ball comes down to the ring', '°', 1),
  apexM: say('Top above release', 'how high the ball goes', 'm', 2),
  speedMarginMps: say('Speed to spare', 'how much faster than it has to be', 'm/s', 2),
  contactHardnessMps: say('Hardness of the first contact', 'how hard the ball hits what it meets first', 'm/s', 1),
  sidewaysImpulseMps: say('Push to the side', 'how much the ball is pushed sideways at release', 'm/s', 2, {
    sided: true,
  }),
  spinBeforeLiftRps: say('Spin before the lift', 'how fast the ball turns in the hands', 'rev/s', 2),
  snapPeakDegps: say('Snap', 'how fast the hand snaps', '°/s', 0),
  snapToReleaseS: say('Snap before release', 'when the hand snaps', 'ms', 0, { scale: 1000 }),
  forearmElevationDeg: say('Forearm above level', 'how high the arm finishes', '°', 0),
  pathPlanarity: say('Path off its plane', 'how straight the hand goes up', '%', 1, { scale: 100 }),
  followThroughS: say('Follow-through', 'how long the hand stays up', 's', 2),
  headingChangeDeg: say('Turn in the air', 'how much the player turns in the air', '°', 0, { sided: true }),
};

function say(
  label: string,
  plain: string,
  unit: MeasureWords['unit'],
  decimals: number,
  more: { readonly scale?: number; readonly sided?: true } = {},
): MeasureWords {
  return { label, plain, unit, decimals, scale: more.scale ?? 1, ...(more.sided ? { sided: true } : {}) };
}

/** How a report shows a measure to one reader. */
export interface ShownMeasure {
  readonly name: ShotMeasureName;
  readonly label: string;
  readonly plain: string;
  readonly unit: string;
  /** From the unit of the measure's name to the shown one. */
  readonly scale: number;
  readonly decimals: number;
  readonly sided: boolean;
}

/** @returns whether a name is one of a measure that sensors give, and not of a number that somebody brought along. */
export function isShownMeasure(name: string): name is ShotMeasureName {
  return Object.hasOwn(words, name);
}

export function shownMeasure(name: ShotMeasureName, { units, spin }: ReportUnits): ShownMeasure {
  const { label, plain, unit, scale, decimals, sided = false } = words[name];
  const base = { name, label, plain, sided };
  if (unit === 'rev/s' && spin === 'rpm') return { ...base, unit: 'rpm', scale: 60 * scale, decimals: 0 };
  const us = units === 'us' ? usUnitOf(unit) : null;
  return us
    ? { ...base, unit: us.unit, scale: scale * us.factor, decimals: us.decimals }
    : { ...base, unit, scale, decimals };
}

/** @returns a bare number in the shown unit, with a true minus. */
export function numberText(value: number, { scale, decimals }: ShownMeasure): string {
  return plainNumber(value * scale, decimals);
}

/** @returns a number with its unit: `47.3°`, `0.82 s`. */
export function withUnit(value: number, measure: ShownMeasure): string {
  return `${numberText(value, measure)}${unitText(measure)}`;
}

/** @returns an error in the shown unit, never rounded away. */
export function errorText(error: number, measure: ShownMeasure, moreDecimals = 0): string {
  const decimals = measure.decimals + moreDecimals;
  return Math.max(error * measure.scale, 10 ** -decimals).toFixed(decimals);
}

/** @returns how far a spot is from the ring, unbroken: `4.6 m`, `15.1 ft`. */
export function distanceText(distanceM: number, { units }: ReportUnits): string {
  const us = units === 'us' ? usUnitOf('m') : null;
  return us
    ? `${plainNumber(distanceM * us.factor, us.decimals)}\u00a0${us.unit}`
    : `${Number(distanceM.toFixed(2))}\u00a0m`;
}

/** @returns the unit as it stands alone beside an axis, where a small raised ring would be overlooked. */
export function axisUnit(measure: ShownMeasure): string {
  return unitText(measure).trim().replace('°', 'degrees');
}

export function unitText({ unit }: ShownMeasure): string {
  return unit.startsWith('°') || unit === '%' ? unit.replace('%', ' %') : ` ${unit}`;
}
