import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { seededSource } from '../../src/study/seeded-source.ts';
import { drawStudyOrder, planInWords, planMakes, planMeans } from '../../src/study/study-plan.ts';

describe('numbers from a text', () => {
  it('are the same for the same text, and stay what they are: orders drawn before are drawn again', () => {
    const first = (seed: string) => {
      const source = seededSource(seed);
      return [source.unit(), source.unit(), source.unit()];
    };
    expect(first('a')).toEqual(first('a'));
    expect(first('a')).not.toEqual(first('b'));
    expect(first('study').map((value) => value.toFixed(6))).toMatchInlineSnapshot(`
      [
        "0.706036",
        "0.758934",
        "0.836365",
      ]
    `);
  });

  it('are spread evenly over 0 to below 1', () => {
    const source = seededSource('even');
    const counts = new Array<number>(20).fill(0);
    const draws = 40_000;
    for (let i = 0; i < draws; i++) {
      const value = source.unit();
      expect(value >= 0 && value < 1).toBe(true);
      counts[Math.floor(value * 20)]!++;
    }
    // Chi-squared of 19 degrees of freedom lies below 43.8 with chance 0.999.
    const expected = draws / 20;
    expect(counts.reduce((sum, count) => sum + (count - expected) ** 2 / expected, 0)).toBeLessThan(43.8);
  });
});

describe('an order', () => {
  it('holds every condition once a day, each in each place equally often over a whole square', () => {
    fc.assert(
      fc.property(fc.integer({ min: 2, max: 6 }), fc.string({ minLength: 1 }), (count, seed) => {
        const names = [...'abcdef'].slice(0, count);
        const rows = count % 2 === 0 ? count : 2 * count;
        const { order, labels } = drawStudyOrder(names, rows, seed, true);
        for (const row of order) expect([...row].sort()).toEqual(names.map((_, i) => i));
        for (let place = 0; place < count; place++) {
          for (let level = 0; level < count; level++) {
            expect(order.filter((row) => row[place] === level)).toHaveLength(rows / count);
          }
        }
        expect(new Set(labels).size).toBe(count);
        expect(drawStudyOrder(names, rows, seed, true)).toEqual({ order, labels });
      }),
      { numRuns: 60 },
    );
  });

  it.each([
    [['a'], 1],
    [['a', 'a '], 1],
    [['a', ''], 1],
    [['a', 'b'], 0],
  ])('is refused for %j and %i days', (names, rows) => {
    expect(() => drawStudyOrder(names, rows, 'x', false)).toThrow(/expected/);
  });
});

describe('a plan', () => {
  it('says what it takes to tell 44 % from 42 %, and offers the other question', () => {
    const plan = planMakes(0.44, 0.42);
    // SOURCE: Fleiss, Levin and Paik 2003, equation 4.14, worked by hand: (1.95996 · sqrt(2 · .43 · .57) + .84162 · sqrt(.44 · .56 + .42 · .58))² / .02².
    const root = 1.959964 * Math.sqrt(2 * 0.43 * 0.57) + 0.841621 * Math.sqrt(0.44 * 0.56 + 0.42 * 0.58);
    expect(plan.shots).toBeCloseTo((root / 0.02) ** 2, 0);
    expect(plan.shots).toBeGreaterThan(9550);
    expect(plan.shots).toBeLessThan(9650);
    const [first, second, third] = planInWords(plan);
    expect(first).toBe(
      'To tell 44 % from 42 % you need about 9,700 shots a condition (80 % power, 5 % two-sided; normal approximation; 9,800 with continuity correction).',
    );
    expect(second).toContain('sets of 25');
    expect(third).toContain('--margin');
  });

  it('counts alike shots of a set, and the same within a margin', () => {
    const plan = planMakes(0.5, 0.4, { shotsASet: 20, correlationWithin: 0.05, margin: 0.1 });
    expect(plan.designEffect).toBeCloseTo(1.95, 9);
    expect(plan.sets).toBe(Math.ceil((plan.shots * 1.95) / 20));
    expect(planInWords(plan).at(-1)).toContain('the same within ±10 %');
    expect(planInWords(planMeans(0.5))[0]).toContain('0.5 spreads');
  });
});
