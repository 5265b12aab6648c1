import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { betaQuantile, logRegularizedBeta, regularizedBeta } from '../../src/study/beta-function.ts';
import { binomialAtLeast, binomialAtMost, binomialChance } from '../../src/study/binomial-distribution.ts';
import { fQuantile, fUpper } from '../../src/study/f-distribution.ts';
import { chiSquaredQuantile, logGamma, regularizedGamma } from '../../src/study/gamma-function.ts';
import { normalCdf, normalQuantile, normalUpper } from '../../src/study/normal-distribution.ts';
import { noncentralTUpper, studentCdf, studentQuantile, studentTwoSided } from '../../src/study/student-t.ts';
import { rTable, worstRelative } from './r-fixtures.ts';

/**
 * SOURCE: R 4.2.2 (r-fixtures.json). TOLERANCE: log gamma of the size G costs G · 1e-16 of every tail it stands in: up to
 * 4e4 · 1e-16 at parameters of 5,000, times a few operations.
 */
const nearR = 1e-10;

describe('distributions against R', () => {
  it('incomplete beta, also in logarithms', () => {
    const rows = rTable('regularizedBeta');
    expect(rows.length).toBe(240);
    expect(worstRelative(rows.map(({ x, a, b, lower }) => [regularizedBeta(x!, a!, b!), lower!]))).toBeLessThan(nearR);
    const deep = rows.filter(({ logLower }) => logLower! < -1e-6 && logLower! > -1e6);
    expect(
      worstRelative(deep.map(({ x, a, b, logLower }) => [logRegularizedBeta(x!, a!, b!), logLower!])),
    ).toBeLessThan(nearR);
    expect(Math.min(...deep.map(({ logLower }) => logLower!))).toBeLessThan(-10_000);
  });

  it('incomplete gamma', () => {
    const rows = rTable('regularizedGamma');
    expect(worstRelative(rows.map(({ x, a, lower }) => [regularizedGamma(a!, x!).lower, lower!]))).toBeLessThan(nearR);
    expect(worstRelative(rows.map(({ x, a, upper }) => [regularizedGamma(a!, x!).upper, upper!]))).toBeLessThan(nearR);
  });

  it('normal, far into the tails', () => {
    const rows = rTable('normalCdf');
    expect(worstRelative(rows.map(({ x, lower }) => [normalCdf(x!), lower!]))).toBeLessThan(1e-11);
    expect(worstRelative(rows.map(({ x, upper }) => [normalUpper(x!), upper!]))).toBeLessThan(1e-11);
    expect(worstRelative(rTable('normalQuantile').map(({ p, x }) => [normalQuantile(p!), x!]))).toBeLessThan(1e-9);
  });

  it("Student's t, central and not", () => {
    const rows = rTable('studentCdf');
    expect(worstRelative(rows.map(({ t, df, lower }) => [studentCdf(t!, df!), lower!]))).toBeLessThan(nearR);
    expect(worstRelative(rows.map(({ t, df, twoSided }) => [studentTwoSided(t!, df!), twoSided!]))).toBeLessThan(nearR);
    const quantiles = rTable('studentQuantile').map(({ p, df, t }) => [studentQuantile(p!, df!), t!] as const);
    expect(worstRelative(quantiles)).toBeLessThan(1e-9);
    for (const { t, df, noncentrality, upper } of rTable('noncentralTUpper'))
      expect(Math.abs(noncentralTUpper(t!, df!, noncentrality!) - upper!)).toBeLessThan(2e-7);
  });

  it('F and chi-squared', () => {
    expect(
      worstRelative(rTable('fUpper').map(({ f, df1, df2, upper }) => [fUpper(f!, df1!, df2!), upper!])),
    ).toBeLessThan(nearR);
    expect(
      worstRelative(rTable('fQuantile').map(({ p, df1, df2, f }) => [fQuantile(p!, df1!, df2!), f!])),
    ).toBeLessThan(1e-9);
    expect(
      worstRelative(rTable('chiSquaredQuantile').map(({ p, df, x }) => [chiSquaredQuantile(p!, df!), x!])),
    ).toBeLessThan(1e-9);
    expect(worstRelative(rTable('betaQuantile').map(({ p, a, b, x }) => [betaQuantile(p!, a!, b!), x!]))).toBeLessThan(
      1e-8,
    );
  });

  it('binomial', () => {
    for (const { k, n, p, chance, atMost, atLeast } of rTable('binomial')) {
      const pairs = [
        [binomialChance(k!, n!, p!), chance!],
        [binomialAtMost(k!, n!, p!), atMost!],
        [binomialAtLeast(k!, n!, p!), atLeast!],
      ] as const;
      expect(worstRelative(pairs)).toBeLessThan(1e-9);
    }
  });
});

const shape = fc.double({ min: 0.2, max: 400, noNaN: true });
const share = fc.double({ min: 1e-6, max: 1 - 1e-6, noNaN: true });

describe('properties of the distributions', () => {
  it('quantile and chance undo each other', () => {
    fc.assert(
      fc.property(share, shape, shape, (p, a, b) => {
        const x = betaQuantile(p, a, b);
        // Where the chance is flat or steep, x cannot carry more digits than its own: check against its neighbours.
        const lower = regularizedBeta(x * (1 - 1e-12), a, b);
        const upper = regularizedBeta(Math.min(1, x * (1 + 1e-12)), a, b);
        expect(p).toBeGreaterThanOrEqual(lower - 1e-11);
        expect(p).toBeLessThanOrEqual(upper + 1e-11);
      }),
    );
    fc.assert(
      fc.property(share, fc.double({ min: 0.6, max: 5000, noNaN: true }), (p, df) => {
        expect(Math.abs(studentCdf(studentQuantile(p, df), df) - p)).toBeLessThan(1e-10);
        expect(Math.abs(normalCdf(normalQuantile(p)) - p)).toBeLessThan(1e-14);
      }),
    );
  });

  it('is symmetric and rises', () => {
    fc.assert(
      fc.property(share, shape, shape, (x, a, b) => {
        expect(Math.abs(regularizedBeta(x, a, b) + regularizedBeta(1 - x, b, a) - 1)).toBeLessThan(1e-9);
        expect(regularizedBeta(x / 2, a, b)).toBeLessThanOrEqual(regularizedBeta(x, a, b));
      }),
    );
  });

  it('binomial tails meet', () => {
    fc.assert(
      fc.property(fc.integer({ min: 1, max: 500 }), fc.nat(499), share, (n, at, p) => {
        const k = at % n;
        expect(Math.abs(binomialAtMost(k, n, p) + binomialAtLeast(k + 1, n, p) - 1)).toBeLessThan(1e-10);
      }),
    );
  });

  it('log gamma follows its recursion', () => {
    fc.assert(
      fc.property(fc.double({ min: 0.01, max: 1e5, noNaN: true }), (x) => {
        expect(Math.abs(logGamma(x + 1) - logGamma(x) - Math.log(x))).toBeLessThan(
          2e-14 * Math.max(1, Math.abs(logGamma(x + 1))),
        );
      }),
    );
  });
});
