import { describe, expect, test } from 'vitest';
import { formatOf } from '../../src/dashboard/measures.ts';
import { trendHeight, trendOf, trendWidth } from '../../src/dashboard/trend.ts';
import { measured, notMeasured } from '../../src/foundation/measured.ts';
import { madeShot } from '../server/made-shots.ts';

const shots = (values: readonly (number | null)[]) =>
  values.map((value, index) => {
    const shot = madeShot(index);
    return {
      ...shot,
      measures: { ...shot.measures, pauseS: value === null ? notMeasured('gap') : measured(value, 0.02) },
    };
  });
const trend = (values: readonly (number | null)[], band: { low: number; high: number } | null = null) =>
  trendOf(shots(values), formatOf('pauseS'), 1, band);

describe('one measure over the shots', () => {
  test('a shot without the number leaves a gap that no line bridges', () => {
    const line = trend([0.1, 0.2, null, 0.3, 0.2])?.line ?? '';
    expect(line.match(/M/g)).toHaveLength(2);
    expect(line.match(/L/g)).toHaveLength(2);
  });

  test('shots are numbered as the table counts them, not from the first that is drawn', () => {
    const values = Array.from({ length: 60 }, () => 0.2);
    const texts = (first: number) =>
      trendOf(shots(values), formatOf('pauseS'), first, null)?.numbers.map(({ text }) => text);
    expect(texts(1)).toEqual(['1', '6', '12', '18', '24', '30', '36', '42', '48', '54', '60']);
    expect(texts(341)).toEqual(['342', '348', '354', '360', '366', '372', '378', '384', '390', '396']);
  });

  test('everything lies within the picture, error bars and band too', () => {
    const drawn = trend([0.1, 5, -3, 0.2], { low: -4, high: 9 });
    for (const { x, lowY, highY } of drawn?.marks ?? []) {
      expect(x).toBeGreaterThan(0);
      expect(x).toBeLessThan(trendWidth);
      expect(Math.min(lowY, highY)).toBeGreaterThanOrEqual(0);
      expect(Math.max(lowY, highY)).toBeLessThanOrEqual(trendHeight);
    }
    expect(drawn?.band?.y).toBeGreaterThanOrEqual(0);
  });

  test('numbers that differ by less than noise do not fill the picture', () => {
    const drawn = trend([0.2, 0.201, 0.2]);
    const heights = drawn?.marks.map(({ y }) => y) ?? [];
    expect(Math.max(...heights) - Math.min(...heights)).toBeLessThan(5);
  });

  test('one shot that is hardly known leaves the others their scale, and its bar is told to go on', () => {
    const known = shots(Array.from({ length: 20 }, (_, i) => 0.2 + 0.01 * (i % 5)));
    const odd = known.map((shot, i) =>
      i === 7 ? { ...shot, measures: { ...shot.measures, pauseS: measured(0.22, 3) } } : shot,
    );
    const drawn = trendOf(odd, formatOf('pauseS'), 1, null);
    const heights = drawn?.marks.map(({ y }) => y) ?? [];
    const usual = trendOf(known, formatOf('pauseS'), 1, null)?.marks.map(({ y }) => y) ?? [];
    const spanOf = (ys: readonly number[]) => Math.max(...ys) - Math.min(...ys);
    expect(spanOf(heights)).toBeGreaterThan(spanOf(usual) / 2);
    expect(drawn?.marks.map(({ isCut }) => isCut)).toEqual(odd.map((_, i) => i === 7));
    for (const { lowY, highY } of drawn?.marks ?? []) {
      expect(highY).toBeGreaterThanOrEqual(0);
      expect(lowY).toBeLessThanOrEqual(trendHeight);
    }
  });

  test('its scale has round steps', () => {
    expect(trend([0, 0.1, 0.3])?.ticks.map(({ text }) => text)).toEqual(['−0.1', '0.0', '0.1', '0.2', '0.3', '0.4']);
  });

  test('nothing is drawn without a number', () => {
    expect(trend([null, null])).toBeNull();
    expect(trend([])).toBeNull();
  });
});
