import { describe, expect, it } from 'vitest';
import { acrossPlayers } from '../../src/study/across-players.ts';
import { isInsufficient } from '../../src/study/checks.ts';
import { median, quantile, robustSpread, trimmedMean } from '../../src/study/descriptive.ts';
import { fisherExact } from '../../src/study/fisher-exact.ts';
import { benjaminiHochbergAdjust, holmAdjust } from '../../src/study/multiple-comparisons.ts';
import { clopperPearsonInterval, jeffreysInterval, wilsonInterval } from '../../src/study/proportion-interval.ts';
import { shotsForProportions, valuesForMeans } from '../../src/study/sample-size.ts';
import { pairedTest, pooledTest, summarize, welchTest } from '../../src/study/two-means.ts';
import { rTable, worstRelative } from './r-fixtures.ts';

/** SOURCE: R 4.2.2 (r-fixtures.json). TOLERANCE: 1e-9 of the value, except where R itself stops its search earlier. */
const near = 1e-9;

describe('tests and intervals against R', () => {
  it("Fisher's exact test", () => {
    for (const { a, b, c, d, twoSided, greater, less } of rTable('fisher')) {
      const found = fisherExact([a!, b!], [c!, d!]);
      expect(
        worstRelative([
          [found.pTwoSided, twoSided!],
          [found.pGreater, greater!],
          [found.pLess, less!],
        ]),
      ).toBeLessThan(near);
    }
  });

  it('intervals of a proportion', () => {
    for (const row of rTable('proportion')) {
      const { k, n } = row as { k: number; n: number };
      const found = [...clopperPearsonInterval(k, n), ...wilsonInterval(k, n), ...jeffreysInterval(k, n)];
      const expected = [row.cpLow, row.cpHigh, row.wilsonLow, row.wilsonHigh, row.jeffreysLow, row.jeffreysHigh];
      for (const [i, value] of found.entries()) expect(Math.abs(value - expected[i]!)).toBeLessThan(1e-8);
    }
  });

  it('adjusted p-values', () => {
    const rows = rTable('adjust');
    const p = rows.map((row) => row.p!);
    expect(worstRelative(holmAdjust(p).map((value, i) => [value, rows[i]!.holm!]))).toBeLessThan(near);
    expect(worstRelative(benjaminiHochbergAdjust(p).map((value, i) => [value, rows[i]!.bh!]))).toBeLessThan(near);
  });

  it('sample sizes (the search of power.t.test stops at 1e-4 of its bracket)', () => {
    for (const { effect, power, alpha, n } of rTable('valuesForMeans'))
      expect(Math.abs(valuesForMeans(effect!, { power: power!, alpha: alpha! }) / n! - 1)).toBeLessThan(1e-5);
    for (const { p1, p2, power, alpha, n } of rTable('shotsForProportions'))
      expect(shotsForProportions(p1!, p2!, { power: power!, alpha: alpha! }).plain / n!).toBeCloseTo(1, 6);
  });

  it('random effects', () => {
    const effects = [1.2, -0.4, 0.8, 2.1, 0.1, 0.9, -1.3];
    const errors = [0.4, 0.5, 0.3, 0.9, 0.35, 0.6, 0.8];
    const expected = rTable('acrossPlayers')[0]!;
    const reml = acrossPlayers(effects, errors);
    const dl = acrossPlayers(effects, errors, { method: 'dl' });
    if (isInsufficient(reml) || isInsufficient(dl)) throw new Error('expected a result');
    // R's search over a flat top is good to the root of its tolerance.
    expect(reml.effect).toBeCloseTo(expected.effect!, 6);
    expect(reml.standardError).toBeCloseTo(expected.standardError!, 6);
    expect(reml.betweenSd).toBeCloseTo(expected.betweenSd!, 5);
    expect(reml.q).toBeCloseTo(expected.q!, 9);
    expect(dl.betweenSd).toBeCloseTo(expected.dlBetweenSd!, 9);
  });

  it('t tests of the sleep data', () => {
    const one = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0, 2];
    const two = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4];
    const tests = [
      welchTest(summarize(one), summarize(two)),
      pairedTest(one, two),
      pooledTest(summarize(one), summarize(two)),
    ];
    for (const [i, row] of rTable('sleep').entries()) {
      const test = tests[i]!;
      if (isInsufficient(test)) throw new Error(test.reason);
      expect(
        worstRelative([
          [test.t, row.t!],
          [test.df, row.df!],
          [test.pTwoSided, row.p!],
          [test.interval[0], row.low!],
          [test.interval[1], row.high!],
        ]),
      ).toBeLessThan(near);
    }
  });

  it('robust middle and spread', () => {
    const values = [3.1, 2.7, 9.9, 3.3, 2.2, 3.0, 4.1, -6, 3.6, 2.9];
    const row = rTable('robust')[0]!;
    expect(median(values)).toBeCloseTo(row.median!, 12);
    // R rounds the factor to 1.4826.
    expect(robustSpread(values)).toBeCloseTo(row.mad!, 5);
    expect(trimmedMean(values, 0.2).mean).toBeCloseTo(row.trimmed20!, 12);
    expect(quantile(values, 0.1)).toBeCloseTo(row.q10!, 12);
  });
});
