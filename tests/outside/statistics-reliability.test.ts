/**
 * SOURCE: beside each check. MADE BY: the authors named. LICENCE: facts; NIST data are in the public domain.
 * TOLERANCE: half a unit of the last digit given; NIST's certified values to 1e-9 of themselves and better, as doubles allow.
 */
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { blandAltman, repeatability } from '../../src/study/bland-altman.ts';
import { isInsufficient } from '../../src/study/checks.ts';
import { rayleighTest, summarizeAngles, vTest } from '../../src/study/circular.ts';
import { lagOneCorrelation, mean, standardDeviation } from '../../src/study/descriptive.ts';
import {
  intraclassCorrelations,
  minimalDetectableChange,
  standardErrorOfMeasurement,
} from '../../src/study/intraclass-correlation.ts';
import { fitLine } from '../../src/study/linear-trend.ts';
import { rTable } from '../study/r-fixtures.ts';

function sure<T extends object>(result: T): Exclude<T, { kind: 'insufficient' }> {
  if (isInsufficient(result)) throw new Error(result.reason);
  return result as Exclude<T, { kind: 'insufficient' }>;
}

describe('intraclass correlation (Shrout and Fleiss 1979; intervals as in the tests of pingouin)', () => {
  const result = sure(
    intraclassCorrelations([
      [9, 2, 5, 8],
      [6, 1, 3, 2],
      [8, 4, 6, 8],
      [7, 1, 2, 6],
      [10, 5, 6, 9],
      [6, 2, 4, 7],
    ]),
  );

  it('mean squares', () => {
    expect(result.meanSquares.between).toBeCloseTo(11.24167, 5);
    expect(result.meanSquares.within).toBeCloseTo(6.26389, 5);
    expect(result.meanSquares.raters).toBeCloseTo(32.48611, 5);
    expect(result.meanSquares.error).toBeCloseTo(1.01944, 5);
  });

  it.each([
    ['1,1', 0.165742, -0.13, 0.72],
    ['2,1', 0.289764, 0.02, 0.76],
    ['3,1', 0.714841, 0.34, 0.95],
    ['1,k', 0.442797, -0.88, 0.91],
    ['2,k', 0.620051, 0.07, 0.93],
    ['3,k', 0.909316, 0.68, 0.99],
  ] as const)('form %s', (form, value, low, high) => {
    expect(result.forms[form].value).toBeCloseTo(value, 6);
    expect(result.forms[form].interval[0]).toBeCloseTo(low, 2);
    expect(result.forms[form].interval[1]).toBeCloseTo(high, 2);
  });

  it('error of measurement and least change (Weir 2005)', () => {
    expect(result.standardErrorOfMeasurement).toBeCloseTo(1.00968, 5);
    expect(result.minimalDetectableChange95).toBeCloseTo(2.79868, 5);
    const error = standardErrorOfMeasurement(5, 0.9);
    expect(error).toBeCloseTo(1.58114, 5);
    expect(minimalDetectableChange(error)).toBeCloseTo(4.38269, 5);
  });
});

describe('agreement of two flow meters (Bland and Altman 1986, table 1; second readings from memory)', () => {
  const large = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427];
  const largeAgain = [490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421];
  const mini = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451];
  const miniAgain = [525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443];

  it('bias, spread and limits', () => {
    const result = sure(blandAltman(large, mini));
    expect(result.bias).toBeCloseTo(-2.1176, 4);
    expect(result.spread).toBeCloseTo(38.7651, 4);
    expect(result.limits[0]).toBeCloseTo(-78.1, 2);
    expect(result.limits[1]).toBeCloseTo(73.86, 2);
    const rounded = sure(blandAltman(large, mini, 2));
    expect(rounded.limits[0]).toBeCloseTo(-79.65, 2);
    expect(rounded.limits[1]).toBeCloseTo(75.41, 2);
  });

  it('repeatability', () => {
    // The paper gives 43.2 and 56.4, from rounded standard deviations.
    expect(repeatability(large, largeAgain)).toBeCloseTo(43.3, 0);
    expect(repeatability(mini, miniAgain)).toBeCloseTo(56.3, 0);
  });
});

describe('directions', () => {
  const degrees = (values: number[]) => values.map((value) => (value * Math.PI) / 180);

  it.each([
    ['Zar 1999, example 26.1 (data from memory)', [45, 55, 81, 96, 110, 117, 132, 154], 98.988, 0.825218, 0.00185],
    ['roulette, Mardia 1972 (data from memory)', [43, 45, 52, 61, 75, 88, 88, 279, 357], 51.05, 0.710991, 0.00704],
  ])('%s', (_, angles, meanDeg, resultant, p) => {
    const summary = sure(summarizeAngles(degrees(angles)));
    expect((summary.meanRad * 180) / Math.PI).toBeCloseTo(meanDeg, 3);
    expect(summary.resultant).toBeCloseTo(resultant, 6);
    expect(rayleighTest(summary.count, summary.resultant).p).toBeCloseTo(p, 5);
  });

  it("Rayleigh's R and z of Zar's example", () => {
    const { count, resultant } = sure(summarizeAngles(degrees([45, 55, 81, 96, 110, 117, 132, 154])));
    expect(count * resultant).toBeCloseTo(6.60174, 5);
    expect(rayleighTest(count, resultant).z).toBeCloseTo(5.44787, 5);
  });

  it('five angles and a direction (tests of pingouin)', () => {
    // biome-ignore lint/suspicious/noApproximativeNumericConstant: the source gives 3.141
    const summary = sure(summarizeAngles([0.785, 1.57, 3.141, 0.839, 5.934]));
    expect(summary.meanRad).toBeCloseTo(1.013, 3);
    expect(summary.resultant).toBeCloseTo(0.497, 3);
    const test = rayleighTest(summary.count, summary.resultant);
    expect(test.z).toBeCloseTo(1.236, 3);
    expect(test.p).toBeCloseTo(0.3048, 4);
    const towards = vTest(summary, 1);
    expect(towards.v).toBeCloseTo(2.486, 3);
    expect(towards.p).toBeCloseTo(0.0579, 4);
  });
});

describe('NIST Statistical Reference Datasets, certified values', () => {
  const file = new URL('../study/nist-strd.json', import.meta.url);
  const { lew, lottery, mavro } = JSON.parse(readFileSync(file, 'utf8')) as Record<string, number[]>;
  // Michelson's speed of light is the data set `morley` of R, km/s.
  const michelso = rTable('morley').map(({ speedKmps }) => speedKmps! / 1000);
  const numAcc4 = Array.from({ length: 1001 }, (_, i) =>
    i === 0 ? 10000000.2 : i % 2 === 1 ? 10000000.1 : 10000000.3,
  );

  // PiDigits is left out: the certified mean 4.5348 is that of NIST's file, which departs from the digits of pi (4.5358).
  it.each([
    ['Michelso', michelso, 299.8524, 0.0790105478190518, 0.535199668621283, 1e-12],
    ['Mavro', mavro!, 2.001856, 0.000429123454003053, 0.937989183438248, 1e-12],
    ['Lottery', lottery!, 518.95871559633, 291.699727470969, -0.120948622967393, 1e-14],
  ])('%s', (_, values, certifiedMean, sd, r1, share) => {
    expect(Math.abs(mean(values) / certifiedMean - 1)).toBeLessThan(share);
    // Data with few digits about a large mean: differences from it carry the rounding of the data themselves.
    expect(Math.abs(standardDeviation(values) / sd - 1)).toBeLessThan(share === 1e-12 ? 1e-11 : 1e-13);
    expect(Math.abs(lagOneCorrelation(values) - r1)).toBeLessThan(share === 1e-12 ? 1e-10 : 1e-13);
  });

  it('Lew and NumAcc4, means', () => {
    expect(mean(lew!)).toBeCloseTo(-177.435, 12);
    expect(mean(numAcc4)).toBe(10000000.2);
    // Certified 0.1; each value is rounded by up to 1e-9 of it, being near 1e7.
    expect(Math.abs(standardDeviation(numAcc4) - 0.1)).toBeLessThan(1e-8);
  });

  it('Norris: line through 36 points (data from memory, proved right by the certified values)', () => {
    const norris =
      `0.1 0.2;338.8 337.4;118.1 118.2;888.0 884.6;9.2 10.1;228.1 226.5;668.5 666.3;998.5 996.3;449.1 448.6;
778.9 777.0;559.2 558.2;0.3 0.4;0.1 0.6;778.1 775.5;668.8 666.9;339.3 338.0;448.9 447.5;10.8 11.6;557.7 556.0;
228.3 228.1;998.0 995.8;888.8 887.6;119.6 120.2;0.3 0.3;0.6 0.3;557.6 556.8;339.3 339.1;888.0 887.2;998.5 999.0;
778.9 779.0;10.2 11.1;117.6 118.3;228.9 229.2;668.4 669.1;449.2 448.9;0.2 0.5`
        .split(';')
        .map((pair) => pair.trim().split(' ').map(Number) as [number, number]);
    const line = sure(
      fitLine(
        norris.map(([, x]) => x),
        norris.map(([y]) => y),
      ),
    );
    for (const [found, certified] of [
      [line.slope, 1.00211681802045],
      [line.slopeError, 0.000429796848199937],
      [line.intercept, -0.262323073774029],
      [line.interceptError, 0.232818234301152],
      [line.rSquared, 0.999993745883712],
      [line.f, 5436385.54079785],
    ] as const)
      expect(Math.abs(found / certified - 1)).toBeLessThan(1e-10);
  });
});
