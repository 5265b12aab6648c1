import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { Random } from '../../src/simulate/random.ts';
import { drawBalancedOrder, drawBlindLabels, drawBlockOrder, williamsSquare } from '../../src/study/block-order.ts';
import { isInsufficient } from '../../src/study/checks.ts';
import { equivalentMeans, equivalentProportions } from '../../src/study/equivalence.ts';
import { trendWithSerialCorrelation } from '../../src/study/linear-trend.ts';
import { ownSpread } from '../../src/study/own-spread.ts';
import { designEffect, setsFor, shotsForEquivalence } from '../../src/study/sample-size.ts';
import { analyzeStreaks } from '../../src/study/streaks.ts';

describe('random order', () => {
  it('is balanced over places and over what stands before', () => {
    for (let conditions = 2; conditions <= 9; conditions++) {
      const square = williamsSquare(conditions);
      const places = new Map<string, number>();
      const pairs = new Map<string, number>();
      for (const row of square) {
        expect(new Set(row).size).toBe(conditions);
        for (const [place, condition] of row.entries()) {
          places.set(`${place} ${condition}`, (places.get(`${place} ${condition}`) ?? 0) + 1);
          if (place > 0) {
            const pair = `${row[place - 1]} ${condition}`;
            pairs.set(pair, (pairs.get(pair) ?? 0) + 1);
          }
        }
      }
      expect(new Set(places.values()).size).toBe(1);
      expect(pairs.size).toBe(conditions * (conditions - 1));
      expect(new Set(pairs.values()).size).toBe(1);
    }
  });

  it('follows its seed, and another seed gives another order', () => {
    const draw = (seed: string) => drawBlockOrder(3, 12, new Random(seed));
    expect(draw('a')).toEqual(draw('a'));
    expect(draw('a')).not.toEqual(draw('b'));
    expect(drawBlindLabels(4, new Random('l')).sort()).toEqual(['A', 'B', 'C', 'D']);
  });

  it('never lets the counts run apart', () => {
    fc.assert(
      fc.property(fc.integer({ min: 2, max: 6 }), fc.integer({ min: 1, max: 20 }), fc.nat(), (k, stretches, seed) => {
        const order = drawBalancedOrder(k, stretches, 2, new Random(seed));
        const counts = new Array<number>(k).fill(0);
        for (const condition of order) {
          counts[condition]!++;
          expect(Math.max(...counts) - Math.min(...counts)).toBeLessThanOrEqual(2);
        }
        expect(new Set(counts).size).toBe(1);
      }),
    );
  });
});

describe('what cannot be said is a value', () => {
  it('where there is too little', () => {
    expect(isInsufficient(trendWithSerialCorrelation([1, 2, 3], [1, 2, 3]))).toBe(true);
    expect(isInsufficient(ownSpread([1, 2], [0, 0]))).toBe(true);
    expect(isInsufficient(analyzeStreaks([[true, true]], 1, new Random('x')))).toBe(true);
  });
});

describe('numbers that cannot be', () => {
  it('are refused with what was expected', () => {
    // 'statistic-input'
    expect(() => designEffect(10, 2)).toThrow('correlationWithin = 2: expected a number from 0 to 1');
    expect(() => ownSpread([1, Number.NaN, 3], [0, 0, 0])).toThrow('values[1] = NaN');
    expect(() => drawBlockOrder(1, 4, new Random('x'))).toThrowError(
      expect.objectContaining({ code: 'statistic-input' }),
    );
  });
});

/** Chance of `run` to be true over many seeded runs. */
function rate(label: string, runs: number, run: (random: Random) => boolean): number {
  const random = new Random(label);
  let count = 0;
  for (let i = 0; i < runs; i++) if (run(random)) count++;
  return count / runs;
}

function serialValues(random: Random, count: number, phi: number, level: (i: number) => number): number[] {
  let state = random.normal();
  return Array.from({ length: count }, (_, i) => {
    state = phi * state + Math.sqrt(1 - phi * phi) * random.normal();
    return level(i) + state;
  });
}

describe('error rates (constructed data, seeded)', () => {
  // 2,000 runs: a rate of 5 % is drawn with a standard error of 0.5 %, so that 6.5 % lies three of them above.
  it('slope under serial correlation: false alarms', () => {
    for (const phi of [0, 0.3, 0.6]) {
      const x = Array.from({ length: 60 }, (_, i) => i);
      const alarms = rate(`trend ${phi}`, 2000, (random) => {
        const result = trendWithSerialCorrelation(
          x,
          serialValues(random, 60, phi, () => 0),
        );
        return result.kind === 'trend' && result.pTwoSided < 0.05;
      });
      expect(alarms).toBeLessThan(0.065);
    }
  });

  it('slope under serial correlation: its interval holds the slope', () => {
    const x = Array.from({ length: 60 }, (_, i) => i);
    const held = rate('trend held', 1500, (random) => {
      const result = trendWithSerialCorrelation(
        x,
        serialValues(random, 60, 0.4, (i) => 0.05 * i),
      );
      return result.kind === 'trend' && result.interval[0] <= 0.05 && result.interval[1] >= 0.05;
    });
    expect(held).toBeGreaterThan(0.933);
  });

  it('"the same within" is not said at its border, and is said at equality with the shots planned', () => {
    const margin = 0.05;
    const draw = (random: Random, p: number, n: number) => {
      let successes = 0;
      for (let i = 0; i < n; i++) if (random.chance(p)) successes++;
      return { successes, tries: n };
    };
    const atBorder = rate('same at border', 1500, (random) => {
      const n = 400;
      return equivalentProportions(draw(random, 0.5, n), draw(random, 0.45, n), margin).same;
    });
    expect(atBorder).toBeLessThan(0.067);
    const n = Math.ceil(shotsForEquivalence(0.45, margin));
    const atEquality = rate(
      'same at equality',
      400,
      (random) => equivalentProportions(draw(random, 0.45, n), draw(random, 0.45, n), margin).same,
    );
    // 80 % planned; 400 runs have a standard error of 2 %.
    expect(atEquality).toBeGreaterThan(0.74);
  });

  it('equivalent means', () => {
    const group = (mean: number) => ({ mean, standardDeviation: 1, count: 400 });
    const same = equivalentMeans(group(0), group(0.02), 0.3);
    const apart = equivalentMeans(group(0), group(0.25), 0.3);
    expect(!isInsufficient(same) && same.same).toBe(true);
    expect(!isInsufficient(apart) && apart.same).toBe(false);
  });

  it("a player's spread is freed of the sensor's error", () => {
    const held = rate('own spread', 1500, (random) => {
      const values = Array.from({ length: 40 }, () => random.normal(0, 2) + random.normal(0, 1.5));
      const result = ownSpread(
        values,
        values.map(() => 1.5),
      );
      return result.kind === 'spread' && result.interval[0] <= 2 && result.interval[1] >= 2;
    });
    // Stated 90 %; three standard errors of 1,500 runs.
    expect(Math.abs(held - 0.9)).toBeLessThan(0.024);
  });
});

it('sets that are alike count for less', () => {
  expect(designEffect(1, 0.5)).toBe(1);
  expect(designEffect(25, 0.04)).toBeCloseTo(1.96, 12);
  expect(setsFor(9618, 25, 0.04)).toBe(Math.ceil((9618 * 1.96) / 25));
});
