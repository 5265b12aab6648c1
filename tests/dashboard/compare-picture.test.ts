import { describe, expect, test } from 'vitest';
import {
  acrossX,
  dotsAcross,
  scaleOfSides,
  ticksOf,
  trendOfSide,
  upY,
} from '../../src/dashboard/compare/compare-picture.ts';
import type { CompareDocument } from '../../src/server/wire/compare-document.ts';

function side(values: readonly (number | null)[], standardError = 0.01): CompareDocument['one'] {
  return {
    ...{ kind: 'set', id: 's', shotCount: values.length, count: 0, practices: 1 },
    ...{ median: null, interval90: null, quartiles: null },
    shots: values.map((value, at) => ({ atS: at, value, standardError: value === null ? null : standardError })),
  };
}

describe('two groups of shots as a picture', () => {
  test('the scale holds every value of both sides with its error, between round ends', () => {
    const sides = [side([0.81, 0.9]), side([null, 1.17], 0.05)];
    const scale = scaleOfSides(sides, 1, 0.2);
    if (scale === null) throw new Error('expected a scale');
    expect(scale.low).toBeLessThanOrEqual(0.8);
    expect(scale.high).toBeGreaterThanOrEqual(1.22);
    for (const tick of ticksOf(scale)) expect(tick / scale.step).toBeCloseTo(Math.round(tick / scale.step), 9);
    expect(acrossX(scale, scale.low)).toBeLessThan(acrossX(scale, scale.high));
    expect(upY(scale, scale.low)).toBeGreaterThan(upY(scale, scale.high));
  });

  test('without any value there is no scale', () => {
    expect(scaleOfSides([side([null]), side([])], 1, 0.2)).toBeNull();
  });

  test('shots that are alike do not hide each other', () => {
    const one = side([1, 1, 1, 1]);
    const dots = dotsAcross(one, { low: 0, high: 2, step: 1 }, 1, 50);
    expect(dots).toHaveLength(4);
    expect(new Set(dots.map(({ y }) => y)).size).toBe(4);
    for (const { x, low, high } of dots) {
      expect(low).toBeLessThan(x);
      expect(high).toBeGreaterThan(x);
    }
  });

  test('a shot without the number is a gap in the line', () => {
    const { dots, line } = trendOfSide(side([1, 1.1, null, 1.2]), { low: 0, high: 2, step: 1 }, 1, 4);
    expect(dots.map(({ at }) => at)).toEqual([0, 1, 3]);
    expect(line.match(/M/g)).toHaveLength(2);
    expect(line.match(/L/g)).toHaveLength(1);
  });
});
