import type { WireMeasured, WireShot } from '../server/wire/shot-document.ts';
import { shownNumber } from './locale/numbers.ts';
import { interval90, type MeasureFormat } from './measures.ts';

export const trendWidth = 640;
export const trendHeight = 180;
const margin = { left: 52, right: 12, top: 12, bottom: 26 };

export interface TrendMark {
  readonly index: number;
  readonly x: number;
  readonly y: number;
  readonly lowY: number;
  readonly highY: number;
  /** Whether what it may be off reaches beyond the picture. */
  readonly isCut: boolean;
}

export interface Trend {
  readonly marks: readonly TrendMark[];
  /** Straight pieces between neighbours that both have the number: a shot without it is a gap. */
  readonly line: string;
  readonly ticks: readonly { readonly y: number; readonly text: string }[];
  readonly numbers: readonly { readonly x: number; readonly text: string }[];
  readonly band: { readonly y: number; readonly height: number } | null;
}

/**
 * One measure over the shots of a practice.
 *
 * @param shots oldest first.
 * @param firstNumber what the first of the shots is called; the others are counted on from there.
 * @param band the player's usual range in the unit of the measure's name, where it is known.
 * @returns null where no shot has the number.
 */
export function trendOf(
  shots: readonly WireShot[],
  format: MeasureFormat,
  firstNumber: number,
  band: { readonly low: number; readonly high: number } | null,
): Trend | null {
  const known = shots.flatMap((shot, index) => {
    const measured: WireMeasured | undefined = shot.measures[format.name];
    const interval = measured ? interval90(measured, format) : null;
    return measured?.value == null || interval === null
      ? []
      : { index, value: measured.value * format.scale, interval };
  });
  if (known.length === 0) return null;
  // One shot that is hardly known must not make all the others a flat line.
  const values = known.map(({ value }) => value);
  const [least, most] = [Math.min(...values), Math.max(...values)];
  const widths = known.map(({ interval }) => interval[1] - interval[0]).sort((a, b) => a - b);
  const reach = Math.max(1.5 * (widths[widths.length >> 1] ?? 0), Math.max(most - least, format.leastSpan) / 2);
  const within = (value: number): number => Math.min(most + reach, Math.max(least - reach, value));
  const ends = known.flatMap(({ interval }) => interval.map(within));
  if (band !== null) ends.push(band.low * format.scale, band.high * format.scale);
  const { low, high, step } = scaleOf(Math.min(...ends), Math.max(...ends), format.leastSpan);
  const y = (value: number): number =>
    margin.top + ((high - value) / (high - low)) * (trendHeight - margin.top - margin.bottom);
  const stepX = (trendWidth - margin.left - margin.right) / Math.max(1, shots.length);
  const x = (index: number): number => margin.left + stepX * (index + 0.5);
  const marks = known.map(({ index, value, interval }) => ({
    index,
    x: x(index),
    y: y(value),
    lowY: y(Math.max(low, interval[0])),
    highY: y(Math.min(high, interval[1])),
    isCut: interval[0] < low || interval[1] > high,
  }));
  const line = marks
    .map(
      (mark, at) => `${at > 0 && marks[at - 1]?.index === mark.index - 1 ? 'L' : 'M'}${fixed(mark.x)} ${fixed(mark.y)}`,
    )
    .join('');
  const tickCount = Math.round((high - low) / step);
  const ticks = Array.from({ length: tickCount + 1 }, (_, at) => low + at * step).map((value) => ({
    y: y(value),
    text: shownNumber(value, decimalsOf(step)),
  }));
  const every = Math.max(1, Math.ceil(shots.length / 10));
  const numbers = shots.flatMap((_, index) => {
    const number = firstNumber + index;
    return number % every === 0 || number === 1 ? { x: x(index), text: String(number) } : [];
  });
  const bandY = band === null ? null : y(band.high * format.scale);
  return {
    marks,
    line,
    ticks,
    numbers,
    band: band === null || bandY === null ? null : { y: bandY, height: y(band.low * format.scale) - bandY },
  };
}

/** Round ends and steps around two numbers, at least a given span apart, so that noise does not look like change. */
function scaleOf(least: number, most: number, leastSpan: number): { low: number; high: number; step: number } {
  const span = Math.max(most - least, leastSpan);
  const middle = (least + most) / 2;
  const rough = span / 4;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((factor) => factor * power).find((candidate) => candidate >= rough) ?? 10 * power;
  return {
    low: Math.floor((middle - span / 2) / step) * step,
    high: Math.ceil((middle + span / 2) / step) * step,
    step,
  };
}

function decimalsOf(step: number): number {
  return Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
}

function fixed(value: number): string {
  return value.toFixed(1);
}
