import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { Random } from '../../src/simulate/random.ts';
import { acrossPlayers } from '../../src/study/across-players.ts';
import { blandAltman } from '../../src/study/bland-altman.ts';
import { isInsufficient } from '../../src/study/checks.ts';
import { summarizeAngles } from '../../src/study/circular.ts';
import { mean, median, robustSpread, trimmedMean, variance } from '../../src/study/descriptive.ts';
import { equivalentProportions } from '../../src/study/equivalence.ts';
import { fisherExact } from '../../src/study/fisher-exact.ts';
import { intraclassCorrelations } from '../../src/study/intraclass-correlation.ts';
import { fitLine } from '../../src/study/linear-trend.ts';
import { benjaminiHochbergAdjust, holmAdjust } from '../../src/study/multiple-comparisons.ts';
import { permutationTest } from '../../src/study/permutation-test.ts';
import {
  clopperPearsonInterval,
  jeffreysInterval,
  newcombeInterval,
  wilsonInterval,
} from '../../src/study/proportion-interval.ts';
import { powerForProportions, shotsForProportions } from '../../src/study/sample-size.ts';
import { ratioBorders } from '../../src/study/sequential-ratio.ts';

const value = fc.double({ min: -1e3, max: 1e3, noNaN: true });
const values = (least: number, most = 12) => fc.array(value, { minLength: least, maxLength: most });
const counted = fc
  .tuple(fc.integer({ min: 1, max: 3000 }), fc.double({ min: 0, max: 1, noNaN: true }))
  .map(([tries, share]) => ({ tries, successes: Math.round(share * tries) }));
const probability = fc.double({ min: 0.02, max: 0.98, noNaN: true });

describe('intervals of proportions', () => {
  it('hold the share, mirror, and shrink with more shots', () => {
    fc.assert(
      fc.property(counted, ({ successes, tries }) => {
        for (const interval of [wilsonInterval, clopperPearsonInterval, jeffreysInterval]) {
          const [low, high] = interval(successes, tries);
          expect(low).toBeGreaterThanOrEqual(0);
          expect(high).toBeLessThanOrEqual(1);
          expect(low).toBeLessThanOrEqual(successes / tries + 1e-12);
          expect(high).toBeGreaterThanOrEqual(successes / tries - 1e-12);
          const [mirroredLow, mirroredHigh] = interval(tries - successes, tries);
          expect(mirroredLow).toBeCloseTo(1 - high, 9);
          expect(mirroredHigh).toBeCloseTo(1 - low, 9);
          const [fourLow, fourHigh] = interval(4 * successes, 4 * tries);
          expect(fourHigh - fourLow).toBeLessThan(high - low);
        }
        const exact = clopperPearsonInterval(successes, tries);
        const jeffreys = jeffreysInterval(successes, tries);
        expect(exact[0]).toBeLessThanOrEqual(jeffreys[0] + 1e-12);
        expect(exact[1]).toBeGreaterThanOrEqual(jeffreys[1] - 1e-12);
      }),
    );
  });

  it('of a difference change sign with the order', () => {
    fc.assert(
      fc.property(counted, counted, (one, two) => {
        const [low, high] = newcombeInterval(one, two);
        const [back, forth] = newcombeInterval(two, one);
        expect(back).toBeCloseTo(-high, 12);
        expect(forth).toBeCloseTo(-low, 12);
        expect(low).toBeGreaterThanOrEqual(-1 - 1e-12);
        expect(high).toBeLessThanOrEqual(1 + 1e-12);
      }),
    );
  });

  it('"the same" agrees with its own interval', () => {
    fc.assert(
      fc.property(counted, counted, fc.double({ min: 0.01, max: 0.4, noNaN: true }), (one, two, margin) => {
        const { same, interval, p } = equivalentProportions(one, two, margin);
        // At the very border the bisection of the interval decides by its last step.
        fc.pre(Math.abs(p - 0.05) > 1e-6);
        expect(same).toBe(interval[0] > -margin && interval[1] < margin);
      }),
    );
  });
});

describe('tests of tables and groups', () => {
  const cell = fc.integer({ min: 0, max: 60 });
  it("Fisher's test does not mind which row comes first", () => {
    fc.assert(
      fc.property(cell, cell, cell, cell, (a, b, c, d) => {
        const one = fisherExact([a, b], [c, d]);
        const two = fisherExact([c, d], [a, b]);
        expect(two.pTwoSided).toBeCloseTo(one.pTwoSided, 9);
        expect(two.pLess).toBeCloseTo(one.pGreater, 9);
        expect(one.pTwoSided).toBeLessThanOrEqual(1);
        expect(one.pGreater + one.pLess).toBeGreaterThanOrEqual(1 - 1e-9);
      }),
    );
  });

  it('a permutation test does not mind order, shift or side', () => {
    const random = new Random('permutations');
    const small = values(2, 6);
    fc.assert(
      fc.property(small, small, fc.integer({ min: -100, max: 100 }), (one, two, shift) => {
        const test = (a: readonly number[], b: readonly number[]) => {
          const result = permutationTest(a, b, { random });
          if (isInsufficient(result)) throw new Error(result.reason);
          return result;
        };
        const whole = one.map(Math.round);
        const other = two.map(Math.round);
        const first = test(whole, other);
        expect(test(other, whole).pTwoSided).toBe(first.pTwoSided);
        expect(test([...whole].reverse(), other).pGreater).toBe(first.pGreater);
        const moved = (list: readonly number[]) => list.map((x) => x + shift);
        expect(test(moved(whole), moved(other)).pTwoSided).toBe(first.pTwoSided);
        expect(first.pTwoSided).toBeGreaterThan(0);
      }),
    );
  });

  it('adjusted p-values stand in order: raw, Benjamini and Hochberg, Holm', () => {
    fc.assert(
      fc.property(fc.array(fc.double({ min: 0, max: 1, noNaN: true }), { minLength: 1, maxLength: 20 }), (p) => {
        const bh = benjaminiHochbergAdjust(p);
        const holm = holmAdjust(p);
        for (const [i, raw] of p.entries()) {
          expect(bh[i]).toBeGreaterThanOrEqual(raw);
          expect(holm[i]).toBeGreaterThanOrEqual(bh[i]! - 1e-12);
          expect(holm[i]).toBeLessThanOrEqual(1);
        }
      }),
    );
  });
});

describe('means, lines and directions', () => {
  it('move with the values and grow with their unit', () => {
    fc.assert(
      fc.property(values(3, 30), fc.double({ min: 0.1, max: 10, noNaN: true }), value, (list, scale, shift) => {
        const moved = list.map((x) => scale * x + shift);
        const size = 1e-9 * (1 + Math.max(...list.map(Math.abs)) * scale + Math.abs(shift));
        expect(Math.abs(mean(moved) - (scale * mean(list) + shift))).toBeLessThan(size);
        expect(Math.abs(median(moved) - (scale * median(list) + shift))).toBeLessThan(size);
        expect(Math.abs(robustSpread(moved) - scale * robustSpread(list))).toBeLessThan(4 * size);
        expect(Math.abs(trimmedMean(moved, 0.1).mean - (scale * trimmedMean(list, 0.1).mean + shift))).toBeLessThan(
          size,
        );
        expect(variance(list)).toBeGreaterThanOrEqual(0);
        const agreement = blandAltman(
          moved,
          moved.map((x) => x - 3),
        );
        expect(!isInsufficient(agreement) && Math.abs(agreement.bias - 3)).toBeLessThan(size);
      }),
    );
  });

  it('a line is found again', () => {
    fc.assert(
      fc.property(
        fc.uniqueArray(fc.integer({ min: -50, max: 50 }), { minLength: 3 }),
        value,
        value,
        (x, slope, level) => {
          const line = fitLine(
            x,
            x.map((place) => level + slope * place),
          );
          if (isInsufficient(line)) throw new Error(line.reason);
          const size = 1e-9 * (1 + Math.abs(level) + 50 * Math.abs(slope));
          expect(Math.abs(line.slope - slope)).toBeLessThan(size);
          expect(Math.abs(line.intercept - level)).toBeLessThan(50 * size);
        },
      ),
    );
  });

  it('a direction turns with the angles', () => {
    const angle = fc.double({ min: -3, max: 3, noNaN: true });
    fc.assert(
      fc.property(fc.array(angle, { minLength: 1, maxLength: 20 }), angle, (angles, turn) => {
        const one = summarizeAngles(angles);
        const two = summarizeAngles(angles.map((x) => x + turn));
        if (isInsufficient(one) || isInsufficient(two)) throw new Error('expected angles');
        expect(two.resultant).toBeCloseTo(one.resultant, 9);
        fc.pre(one.resultant > 1e-3);
        const off = two.meanRad - one.meanRad - turn;
        expect(Math.abs(Math.atan2(Math.sin(off), Math.cos(off)))).toBeLessThan(1e-9);
      }),
    );
  });
});

describe('reliability and players', () => {
  it('a level for each rater changes no consistency', () => {
    fc.assert(
      fc.property(fc.array(fc.tuple(value, value, value), { minLength: 3, maxLength: 10 }), value, (rows, level) => {
        const plain = intraclassCorrelations(rows);
        const moved = intraclassCorrelations(rows.map(([a, b, c]) => [a + level, b, c]));
        fc.pre(!isInsufficient(plain) && !isInsufficient(moved));
        if (isInsufficient(plain) || isInsufficient(moved)) return;
        fc.pre(plain.meanSquares.error > 1e-6);
        expect(moved.forms['3,1'].value).toBeCloseTo(plain.forms['3,1'].value, 6);
        for (const { value: form, interval } of Object.values(plain.forms)) {
          expect(form).toBeLessThanOrEqual(1 + 1e-9);
          expect(interval[0]).toBeLessThanOrEqual(interval[1] + 1e-9);
        }
      }),
    );
  });

  it('an effect over players moves with the players and lies among them', () => {
    const error = fc.double({ min: 0.1, max: 10, noNaN: true });
    fc.assert(
      fc.property(fc.array(fc.tuple(value, error), { minLength: 2, maxLength: 12 }), value, (players, shift) => {
        const effects = players.map(([effect]) => effect);
        const errors = players.map(([, one]) => one);
        const one = acrossPlayers(effects, errors);
        const two = acrossPlayers(
          effects.map((effect) => effect + shift),
          errors,
        );
        if (isInsufficient(one) || isInsufficient(two)) throw new Error('expected an effect');
        expect(Math.abs(two.effect - one.effect - shift)).toBeLessThan(1e-4 * (1 + Math.abs(shift)));
        expect(one.effect).toBeGreaterThanOrEqual(Math.min(...effects) - 1e-9);
        expect(one.effect).toBeLessThanOrEqual(Math.max(...effects) + 1e-9);
        expect(one.betweenSd).toBeGreaterThanOrEqual(0);
      }),
    );
  });
});

describe('planning', () => {
  it('the planned number of shots has the planned power', () => {
    fc.assert(
      fc.property(probability, probability, fc.double({ min: 0.5, max: 0.95, noNaN: true }), (p1, p2, power) => {
        fc.pre(Math.abs(p1 - p2) > 0.01);
        const { plain, corrected } = shotsForProportions(p1, p2, { alpha: 0.05, power });
        fc.pre(plain >= 1);
        expect(powerForProportions(plain, p1, p2)).toBeCloseTo(power, 6);
        expect(corrected).toBeGreaterThan(plain);
      }),
    );
  });

  it('the borders of a sequential test never cross', () => {
    fc.assert(
      fc.property(probability, probability, (a, b) => {
        fc.pre(Math.abs(a - b) > 0.01);
        const borders = ratioBorders(Math.min(a, b), Math.max(a, b), 0.05, 0.1);
        expect(borders.acceptIntercept).toBeLessThan(0);
        expect(borders.rejectIntercept).toBeGreaterThan(0);
        expect(borders.slope).toBeGreaterThan(Math.min(a, b));
        expect(borders.slope).toBeLessThan(Math.max(a, b));
      }),
    );
  });
});
