import type { CompareDocument } from '../../server/wire/compare-document.ts';

type Side = CompareDocument['one'];

export const pictureWidth = 640;
export const rowHeight = 92;
export const trendHeight = 190;
const margin = { left: 56, right: 16, top: 10, bottom: 26 };

export interface Scale {
  readonly low: number;
  readonly high: number;
  readonly step: number;
}

/** @returns round ends around all values of both sides and their errors, in the shown unit; null where there is no value. */
export function scaleOfSides(sides: readonly Side[], factor: number, leastSpan: number): Scale | null {
  const ends = sides.flatMap(({ shots }) =>
    shots.flatMap(({ value, standardError }) =>
      value === null ? [] : [(value - (standardError ?? 0)) * factor, (value + (standardError ?? 0)) * factor],
    ),
  );
  if (ends.length === 0) return null;
  const [least, most] = [Math.min(...ends), Math.max(...ends)];
  const span = Math.max(most - least, leastSpan);
  const middle = (least + most) / 2;
  const rough = span / 5;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((times) => times * power).find((one) => one >= rough) ?? 10 * power;
  return {
    low: Math.floor((middle - span / 2) / step) * step,
    high: Math.ceil((middle + span / 2) / step) * step,
    step,
  };
}

export function ticksOf({ low, high, step }: Scale): readonly number[] {
  return Array.from({ length: Math.round((high - low) / step) + 1 }, (_, at) => low + at * step);
}

export function acrossX({ low, high }: Scale, value: number): number {
  return margin.left + ((value - low) / (high - low)) * (pictureWidth - margin.left - margin.right);
}

export function upY({ low, high }: Scale, value: number): number {
  return margin.top + ((high - value) / (high - low)) * (trendHeight - margin.top - margin.bottom);
}

export interface Dot {
  readonly at: number;
  readonly x: number;
  readonly y: number;
  /** Ends of its standard error along the axis of values. */
  readonly low: number;
  readonly high: number;
}

/** Dots of one side along a level axis, piled upward where they would lie on each other. */
export function dotsAcross(side: Side, scale: Scale, factor: number, middleY: number): readonly Dot[] {
  const apart = 5;
  const taken: { x: number; level: number }[] = [];
  return side.shots.flatMap(({ value, standardError }, at) => {
    if (value === null) return [];
    const x = acrossX(scale, value * factor);
    let level = 0;
    while (taken.some((one) => one.level === level && Math.abs(one.x - x) < apart)) level++;
    taken.push({ x, level });
    const error = (standardError ?? 0) * factor;
    // Up and down by turns, within the row however many there are.
    const off = Math.min(6, Math.ceil(level / 2)) * apart * (level % 2 === 0 ? 1 : -1);
    return {
      at,
      x,
      y: middleY + off,
      low: acrossX(scale, value * factor - error),
      high: acrossX(scale, value * factor + error),
    };
  });
}

/** Both sides shot by shot in one drawing: the line of a side breaks where a shot has no number. */
export function trendOfSide(side: Side, scale: Scale, factor: number, places: number) {
  const width = pictureWidth - margin.left - margin.right;
  const dots = side.shots.flatMap(({ value, standardError }, at) => {
    if (value === null) return [];
    const error = (standardError ?? 0) * factor;
    return {
      at,
      x: margin.left + (width * (at + 0.5)) / Math.max(1, places),
      y: upY(scale, value * factor),
      low: upY(scale, value * factor - error),
      high: upY(scale, value * factor + error),
    };
  });
  const line = dots
    .map(
      ({ at, x, y }, index) =>
        `${index > 0 && dots[index - 1]?.at === at - 1 ? 'L' : 'M'}${x.toFixed(1)} ${y.toFixed(1)}`,
    )
    .join('');
  return { dots, line };
}
