import { describe, expect, it } from 'vitest';
import { drawCount, normalDraws, widestDraw } from '../../../src/shots/ball/normal-draws.ts';

describe('the fixed table of normal numbers', () => {
  const draws = normalDraws();
  const column = (c: number) => Array.from({ length: drawCount }, (_, row) => draws[row * widestDraw + c] as number);

  it('is the same at every call', () => {
    expect(normalDraws()).toBe(draws);
    expect(draws).toHaveLength(drawCount * widestDraw);
  });

  it('has orthogonal columns with a mean square of one: a linear number has exactly its variance', () => {
    for (const a of [0, 7, widestDraw - 1]) {
      for (const b of [0, 7, widestDraw - 1]) {
        const product = column(a).reduce((sum, value, row) => sum + value * (column(b)[row] as number), 0) / drawCount;
        expect(product).toBeCloseTo(a === b ? 1 : 0, 10);
      }
    }
  });

  it('is spread like normal numbers: 68 % within one standard deviation, 95 % within two', () => {
    const within = (size: number) => draws.filter((value) => Math.abs(value) < size).length / draws.length;
    // Standard error of a share among 2112 numbers: 1 % and 0.5 %; three of them.
    expect(Math.abs(within(1) - 0.6827)).toBeLessThan(0.03);
    expect(Math.abs(within(2) - 0.9545)).toBeLessThan(0.015);
  });
});
