/**
 * SOURCE: beside each check; values marked "from memory" were typed from memory and recomputed by hand elsewhere.
 * MADE BY: the authors named. LICENCE: facts.
 * TOLERANCE: half a unit of the last digit given.
 */
import { describe, expect, it } from 'vitest';
import { isInsufficient } from '../../src/study/checks.ts';
import { fisherExact } from '../../src/study/fisher-exact.ts';
import { pairedPermutationTest, permutationTest } from '../../src/study/permutation-test.ts';
import { clopperPearsonInterval, newcombeInterval, wilsonInterval } from '../../src/study/proportion-interval.ts';
import {
  powerForMeans,
  powerForProportions,
  shotsForProportions,
  valuesForMeans,
} from '../../src/study/sample-size.ts';
import { pairedTest, pooledTest, summarize, welchTest } from '../../src/study/two-means.ts';

const noChance = {
  unit(): number {
    throw new Error('an exact test draws nothing');
  },
};

function sure<T extends object>(result: T): Exclude<T, { kind: 'insufficient' }> {
  if (isInsufficient(result)) throw new Error(result.reason);
  return result as Exclude<T, { kind: 'insufficient' }>;
}

describe('sample size for two make percentages (Fleiss, Levin and Paik 2003; R documentation of power.prop.test)', () => {
  it.each([
    [0.6, 0.7, 0.01, 0.95, 807.1, 1, 826.95, 2],
    [0.5, 0.75, 0.05, 0.9, 76.71, 2, 84.5, 1],
    [0.4, 0.6, 0.05, 0.8, 96.9, 1, 106.7, 1],
    [0.7, 0.8, 0.05, 0.8, 293.2, 1, 312.8, 1],
    [0.35, 0.4, 0.05, 0.8, 1470.5, 1, 1510.2, 1],
  ])('%f against %f, alpha %f, power %f', (p1, p2, alpha, power, plain, plainDigits, corrected, correctedDigits) => {
    const found = shotsForProportions(p1, p2, { alpha, power });
    expect(found.plain).toBeCloseTo(plain, plainDigits);
    expect(found.corrected).toBeCloseTo(corrected, correctedDigits);
  });

  it('44 % against 42 %: about 9,600 shots a condition', () => {
    // Common practice asks for the number; the normal approximation gives it (R: power.prop.test, 9617.6).
    expect(shotsForProportions(0.44, 0.42).plain).toBeCloseTo(9617.6, 1);
  });

  it('power of 50 shots a condition, 50 % against 75 % (R: .740)', () => {
    expect(powerForProportions(50, 0.5, 0.75)).toBeCloseTo(0.7402, 4);
  });
});

describe('sample size for two means (Cohen 1988; R documentation of power.t.test)', () => {
  it.each([
    [0.2, 0.8, 393.41],
    [0.5, 0.8, 63.77],
    [0.8, 0.8, 25.52],
    [1, 0.9, 22.02],
  ])('effect %f, power %f: %f a group', (effect, power, n) => {
    expect(valuesForMeans(effect, { alpha: 0.05, power })).toBeCloseTo(n, 2);
  });

  it('power of 20 a group for an effect of one', () => {
    expect(powerForMeans(20, 1)).toBeCloseTo(0.869, 4);
  });
});

describe("Fisher's exact test", () => {
  it('the lady and the tea, three of four right (Fisher 1935; R documentation of fisher.test)', () => {
    const { pTwoSided, pGreater, oddsRatio } = fisherExact([3, 1], [1, 3]);
    expect(pTwoSided).toBeCloseTo(0.485714, 6);
    expect(pGreater).toBeCloseTo(0.242857, 6);
    expect(oddsRatio).toBe(9);
    expect(fisherExact([4, 0], [0, 4]).pGreater).toBeCloseTo(1 / 70, 12);
  });
});

describe('two means', () => {
  // Student 1908, data `sleep` of R.
  const first = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0, 2];
  const second = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4];

  it('Welch on the sleep data (R documentation of t.test)', () => {
    const test = sure(welchTest(summarize(first), summarize(second)));
    expect(test.t).toBeCloseTo(-1.8608, 4);
    expect(test.df).toBeCloseTo(17.776, 3);
    expect(test.pTwoSided).toBeCloseTo(0.07939, 5);
    expect(test.interval[0]).toBeCloseTo(-3.3654832, 7);
    expect(test.interval[1]).toBeCloseTo(0.2054832, 7);
  });

  it('pairs of the sleep data', () => {
    const test = sure(pairedTest(first, second));
    expect(test.t).toBeCloseTo(-4.0621, 4);
    expect(test.pTwoSided).toBeCloseTo(0.002833, 6);
  });

  it('miles a gallon, AUTO83B (NIST/SEMATECH e-Handbook, section 1.3.5.3)', () => {
    const japan = { mean: 30.48101, standardDeviation: 6.10771, count: 79 };
    const home = { mean: 20.14458, standardDeviation: 6.4147, count: 249 };
    const welch = sure(welchTest(home, japan));
    expect(welch.t).toBeCloseTo(-12.94627, 4);
    expect(welch.df).toBeCloseTo(136.87499, 3);
    // Three digits of the tail, which moves by 5e-6 of itself for each 1e-6 of t.
    expect(welch.pTwoSided / 1.571e-25).toBeCloseTo(1, 3);
    expect(sure(pooledTest(home, japan)).t).toBeCloseTo(-12.62059, 4);
  });
});

describe('permutation tests', () => {
  it("Darwin's maize: all 32,768 swaps (Fisher 1935; data from memory)", () => {
    const differences = [49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48];
    const zero = differences.map(() => 0);
    const result = sure(pairedPermutationTest(differences, zero, { random: noChance }));
    expect(result.difference * 15).toBeCloseTo(314, 9);
    expect(result.exact).toBe(true);
    expect(result.pGreater * 32_768).toBeCloseTo(863, 6);
    expect(result.pTwoSided).toBeCloseTo(0.052673, 6);
    const t = sure(pairedTest(differences, zero));
    expect(t.t).toBeCloseTo(2.148, 3);
    expect(t.pTwoSided).toBeCloseTo(0.0497, 4);
  });

  it('mice: all 11,440 ways (Efron and Tibshirani 1993, table 2.1; data from memory)', () => {
    const treated = [94, 197, 16, 38, 99, 141, 23];
    const control = [52, 104, 146, 10, 51, 30, 40, 27, 46];
    const result = sure(permutationTest(treated, control, { random: noChance }));
    expect(result.difference).toBeCloseTo(30.635, 3);
    expect(result.rearrangements).toBe(11_440);
    expect(result.pGreater * 11_440).toBeCloseTo(1613, 6);
    expect(result.pTwoSided).toBeCloseTo(0.2783, 4);
  });
});

describe('intervals of proportions (Newcombe 1998, Stat. Med. 17:857 and 17:873; documentation of scipy)', () => {
  it.each([
    [81, 263, 0.2553, 0.3662, 0.2527, 0.3676],
    [15, 148, 0.0624, 0.1605, 0.0578, 0.1617],
    [0, 20, 0, 0.1611, 0, 0.1684],
    [1, 29, 0.0061, 0.1718, 0.0009, 0.1776],
    [70, 100, 0.6042, 0.7811, 0.6002, 0.7876],
  ])('%i of %i', (successes, tries, ...expected) => {
    const found = [...wilsonInterval(successes, tries), ...clopperPearsonInterval(successes, tries)];
    for (const [i, value] of expected.entries()) expect(found[i]).toBeCloseTo(value, 4);
  });

  it('7 of 50, exact', () => {
    const [low, high] = clopperPearsonInterval(7, 50);
    expect(low).toBeCloseTo(0.058192, 6);
    expect(high).toBeCloseTo(0.267396, 6);
  });

  it.each([
    [56, 70, 48, 80, 0.0524, 0.3339],
    [9, 10, 3, 10, 0.1705, 0.809],
  ])('difference of %i/%i and %i/%i', (k1, n1, k2, n2, low, high) => {
    const found = newcombeInterval({ successes: k1, tries: n1 }, { successes: k2, tries: n2 });
    expect(found[0]).toBeCloseTo(low, 4);
    expect(found[1]).toBeCloseTo(high, 4);
  });
});
