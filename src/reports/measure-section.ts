import type { Band } from '../coaching/bands.ts';
import type { NullReason } from '../foundation/measured.ts';
import { nullReasons } from '../foundation/measured.ts';
import type { ShotMeasureName } from '../shots/shot.ts';
import { isInsufficient } from '../study/checks.ts';
import { median } from '../study/descriptive.ts';
import { medianInterval } from '../study/median-interval.ts';
import { ownSpread } from '../study/own-spread.ts';
import { axisPicture, rowChart } from './charts.ts';
import { html, type Markup } from './html.ts';
import type { ReportShot, SessionReportInput } from './report-input.ts';
import { wideTable } from './report-page.ts';
import { axisUnit, errorText, numberText, type ShownMeasure, shownMeasure, withUnit } from './shown-measure.ts';

/** Measures that a coach works with, in the order of the shot. */
const coachMeasures: readonly ShotMeasureName[] = [
  'pickupToReleaseS',
  'liftToReleaseS',
  'pauseS',
  'dipDepthM',
  'sidePathM',
  'backspinRps',
  'axisTiltDeg',
  'launchSpeedMps',
  'launchAngleDeg',
  'entryAngleDeg',
  'forearmElevationDeg',
  'followThroughS',
  'headingChangeDeg',
];

/** Heights of the drawings in the measure's own unit: less than this is no change that anybody could use. */
const leastSpan: Readonly<Partial<Record<ShotMeasureName, number>>> = {
  pickupToReleaseS: 0.3,
  liftToReleaseS: 0.2,
  pauseS: 0.15,
  dipDepthM: 0.2,
  sidePathM: 0.3,
  backspinRps: 0.8,
  axisTiltDeg: 12,
  launchSpeedMps: 0.6,
  launchAngleDeg: 6,
  entryAngleDeg: 6,
  forearmElevationDeg: 15,
  followThroughS: 0.4,
  headingChangeDeg: 15,
};

/** What is said beside a measure of which some numbers have to be read with care. */
const flagWords: Readonly<Record<string, string>> = {
  'either-low': 'in some shots one of two lows: the error spans both',
  'either-side': 'in some shots one of two sides: the error spans both',
  uncalibrated: 'no reference shots of this player yet',
  clipped: 'in some shots beyond the sensor’s range: at least so much',
};

/** Fewer numbers than these are no drawing: the table holds them. */
const fewestDrawn = 3;

export interface MeasureSummary {
  readonly measure: ShownMeasure;
  readonly name: ShotMeasureName;
  readonly values: readonly number[];
  readonly middle: number;
  readonly interval: readonly [number, number] | null;
  /** Of the player alone, the sensor's error taken out; null where the shots are too few. */
  readonly spread: { readonly value: number; readonly interval: readonly [number, number] } | null;
  /** Usual standard error of one shot. */
  readonly sensorError: number;
  /** What some of the numbers have to be read with: `uncalibrated`. */
  readonly flags: readonly string[];
}

/** @returns what the shots say of a measure, or why they say nothing. */
export function summaryOf(
  shots: readonly ReportShot[],
  name: ShotMeasureName,
  measure: ShownMeasure,
): MeasureSummary | { readonly missing: NullReason } | null {
  const told = shots.map(({ shot }) => shot.measures[name]);
  const known = told.flatMap((one) => (one.value === null ? [] : [one]));
  if (known.length === 0) {
    const [first] = told;
    return first === undefined || first.value !== null
      ? null
      : { missing: mostFrequent(told.flatMap((one) => (one.value === null ? [one.reason] : []))) };
  }
  const values = known.map(({ value }) => value);
  const errors = known.map(({ standardError }) => standardError);
  const interval = medianInterval(values);
  const spread = ownSpread(values, errors);
  return {
    measure,
    name,
    values,
    middle: median(values),
    interval: isInsufficient(interval) ? null : interval.interval,
    spread: isInsufficient(spread) || values.length < 5 ? null : { value: spread.spread, interval: spread.interval },
    sensorError: median(errors),
    flags: [...new Set(known.flatMap(({ flags = [] }) => flags))].sort(),
  };
}

function mostFrequent(reasons: readonly NullReason[]): NullReason {
  const counts = new Map<NullReason, number>();
  for (const reason of reasons) counts.set(reason, (counts.get(reason) ?? 0) + 1);
  return [...counts].sort((a, b) => b[1] - a[1])[0]![0];
}

/** Every measure of the practice: what is usual, how much it varies, and each shot with its error. */
export function measureSection({ shots, bands, units, player, audience, definitions }: SessionReportInput): Markup {
  const names = audience === 'researcher' ? (Object.keys(definitions) as ShotMeasureName[]) : coachMeasures;
  const summaries = names.map((name) => ({ name, summary: summaryOf(shots, name, shownMeasure(name, units)) }));
  const known = summaries.flatMap(({ summary }) => (summary !== null && 'values' in summary ? [summary] : []));
  const missing = summaries.flatMap(({ name, summary }) =>
    summary !== null && 'missing' in summary
      ? [{ label: shownMeasure(name, units).label, reason: summary.missing }]
      : [],
  );
  const bandOf = (name: ShotMeasureName) =>
    player === null ? null : ((bands as Partial<Record<ShotMeasureName, Band>>)[name] ?? null);
  return html`<section><h2>What the sensors measured</h2>
<div class="keep">${wideTable('What was measured', html`<table><caption>Over ${shots.length} shots</caption><thead><tr><th>Measure</th><th class="n">Median</th><th class="n">90 % interval</th><th class="n">Player’s own spread</th><th class="n">Sensor, one shot</th><th class="n">Shots</th><th>Left alone</th></tr></thead><tbody>${known.map((one) => summaryRow(one, bandOf(one.name), audience === 'researcher' ? 2 : 0))}</tbody></table>`)}</div>
<p class="soft">The interval is that of the median, as if shots did not hang together: neighbouring shots do, so it is somewhat too short. The player’s own spread is
what is left after the sensor’s error is taken out, with its 90 % interval below. The sensor’s error is one standard error of a single shot. “Left alone” is the band beyond which a fault may begin.${evenedText(
    known.map(({ name }) => name),
    bandOf,
  )}</p>
${missing.length > 0 && html`<p>Not told: ${joined(missing)}</p>`}
${known.filter(({ name, values }) => name in leastSpan && values.length >= fewestDrawn).map((one) => measureChart(one, shots, bandOf(one.name)))}</section>`;
}

/** @returns a sentence on bands that go by the start of a shot, where there are any. */
function evenedText(names: readonly ShotMeasureName[], bandOf: (name: ShotMeasureName) => Band | null): string {
  return names.some((name) => bandOf(name)?.levels !== undefined)
    ? ' Where the player’s own shots differ by where the ball came from (dip, pause, times, path), the band is that of the usual start, and a shot is held against the player’s own level from its start.'
    : '';
}

function summaryRow(
  { measure, middle, interval, spread, sensorError, values, flags }: MeasureSummary,
  band: Band | null,
  more: number,
): Markup {
  return html`<tr><td>${measure.label}${flags.length > 0 && html`<br><span class="soft">${flags.map((flag) => flagWords[flag] ?? flag).join('; ')}</span>`}</td><td class="n">${withUnit(middle, measure)}</td><td class="n">${
    interval === null ? 'too few' : `${numberText(interval[0], measure)} to ${numberText(interval[1], measure)}`
  }</td><td class="n">${
    spread === null
      ? 'too few'
      : html`±${errorText(spread.value, measure)}<br><span class="soft">${numberText(spread.interval[0], measure)} to ${numberText(spread.interval[1], measure)}</span>`
  }</td><td class="n">±${errorText(sensorError, measure, more)}</td><td class="n">${values.length}</td><td class="ends">${bandText(band, measure)}</td></tr>`;
}

/** @returns the ends of a band: `38° and more`. */
export function bandText(band: Band | null, measure: ShownMeasure): string {
  if (band === null || (band.low === null && band.high === null)) return '–';
  const { low, high } = band;
  if (low === null) return `up to ${withUnit(high!, measure)}`;
  if (high === null) return `from ${withUnit(low, measure)} on`;
  return `${numberText(low, measure)} to ${withUnit(high, measure)}`;
}

function measureChart(summary: MeasureSummary, shots: readonly ReportShot[], band: Band | null): Markup {
  const { measure, name, middle, sensorError, spread } = summary;
  const points = shots.map(({ shot }) => {
    const told = shot.measures[name];
    if (told.value === null) return null;
    const [low, high] = told.interval90 ?? [
      told.value - 1.645 * told.standardError,
      told.value + 1.645 * told.standardError,
    ];
    return { value: told.value * measure.scale, low: low * measure.scale, high: high * measure.scale };
  });
  const gaps = points.filter((point) => point === null).length;
  const chart = rowChart({
    points,
    low: band?.low == null ? null : band.low * measure.scale,
    high: band?.high == null ? null : band.high * measure.scale,
    leastSpan: leastSpan[name]! * measure.scale,
    decimals: measure.decimals,
    ends: ['shot 1', `shot ${points.length}`],
    inWords: `${measure.label}, shot by shot: median ${withUnit(middle, measure)} of ${summary.values.length} shots${gaps > 0 ? `, ${gaps} without a number` : ''}`,
  });
  const axis =
    name === 'axisTiltDeg' &&
    axisPicture(
      middle,
      spread?.value ?? sensorError,
      `The ball from behind: its axis leans ${withUnit(middle, measure)}`,
    );
  return html`<div class="measure"><h3>${measure.label}, ${axisUnit(measure)}</h3>${chart}${axis && html`<div class="drill">${axis}<div><p class="soft">The ball seen from behind the shooter, and the axis it turns about: level is pure backspin; the thin lines are the player’s own spread. The right end up drifts to the left.</p></div></div>`}</div>`;
}

function joined(missing: readonly { readonly label: string; readonly reason: NullReason }[]): string {
  const byReason = new Map<NullReason, string[]>();
  for (const { label, reason } of missing) byReason.set(reason, [...(byReason.get(reason) ?? []), label.toLowerCase()]);
  return [...byReason]
    .map(([reason, labels]) => `${labels.join(', ')} (${nullReasons[reason]})`)
    .join('; ')
    .concat('.');
}
