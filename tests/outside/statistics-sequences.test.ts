/**
 * SOURCE: beside each check. MADE BY: the authors named. LICENCE: facts.
 * TOLERANCE: half a unit of the last digit given; drawn values four standard errors of the drawing.
 */
import { describe, expect, it } from 'vitest';
import { Random } from '../../src/simulate/random.ts';
import { deriveCusum, initialCusum, stepCusum } from '../../src/study/cusum-chart.ts';
import { deriveEwma, ewmaLimits, initialEwma, stepEwma } from '../../src/study/ewma-chart.ts';
import { decideRatio, ratioBorders } from '../../src/study/sequential-ratio.ts';
import { analyzeStreaks, expectedAfterMakes } from '../../src/study/streaks.ts';

function ewmaOf(coefficients: ReturnType<typeof deriveEwma>, values: readonly number[]) {
  let state = initialEwma(coefficients);
  return values.map((value) => {
    const point = stepEwma(coefficients, state, value);
    state = point;
    return point;
  });
}

function cusumOf(coefficients: ReturnType<typeof deriveCusum>, values: readonly number[]) {
  let state = initialCusum;
  return values.map((value) => {
    const point = stepCusum(coefficients, state, value);
    state = point;
    return point;
  });
}

// Montgomery 2009, Introduction to Statistical Quality Control, table 9.1.
const montgomery = [
  9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.2, 10.34, 9.03, 11.47, 10.51, 9.4, 10.08, 9.37, 10.62, 10.31,
  8.52, 10.84, 10.9, 9.33, 12.29, 11.5, 10.6, 11.08, 10.38, 11.62, 11.31, 10.52,
];

describe('moving average', () => {
  it('NIST/SEMATECH e-Handbook, section 6.3.2.4', () => {
    const values = [
      52, 47, 53, 49.3, 50.1, 47, 51, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
    ];
    const coefficients = deriveEwma(50, 2.0539, { weight: 0.3, limitSds: 3 });
    const [low, high] = ewmaLimits(coefficients);
    expect(high).toBeCloseTo(52.5884, 4);
    expect(low).toBeCloseTo(47.41157, 5);
    const averages = ewmaOf(coefficients, values).map(({ average }) => average);
    expect(averages[0]).toBeCloseTo(50.6, 2);
    expect(averages[1]).toBeCloseTo(49.52, 2);
    expect(averages[2]).toBeCloseTo(50.56, 2);
    expect(averages[18]).toBeCloseTo(51.94, 2);
    expect(averages[19]).toBeCloseTo(51.99, 2);
  });

  it('Montgomery 2009, example 9.2', () => {
    const points = ewmaOf(deriveEwma(10, 1, { weight: 0.1, limitSds: 2.7 }), montgomery);
    expect(points[0]!.average).toBeCloseTo(9.945, 3);
    expect(points[1]!.average).toBeCloseTo(9.7495, 4);
    expect(points[0]!.high).toBeCloseTo(10.27, 2);
    expect(points[0]!.low).toBeCloseTo(9.73, 2);
    expect(ewmaLimits(deriveEwma(10, 1, { weight: 0.1, limitSds: 2.7 }))[1]).toBeCloseTo(10.619, 3);
    expect(points.findIndex(({ signal }) => signal)).toBe(28);
    expect(points[28]!.average).toBeCloseTo(10.6468, 4);
  });
});

describe('cumulative sum', () => {
  it('NIST/SEMATECH e-Handbook, section 6.3.2.3 (the last three values from memory, after the signal)', () => {
    const values = [
      324.925, 324.675, 324.725, 324.35, 325.35, 325.225, 324.125, 324.525, 325.225, 324.6, 324.625, 325.15, 328.325,
      327.25, 327.825, 328.5, 326.675, 327.775, 326.875, 328.35,
    ];
    const points = cusumOf(deriveCusum(325, 1, { allowance: 0.3175, threshold: 4.1959 }), values);
    expect(points.findIndex(({ signal }) => signal !== null)).toBe(13);
    expect(points[13]!.up).toBeCloseTo(4.94, 2);
  });

  it('Montgomery 2009, section 9.1: the shift lies between values 22 and 23', () => {
    const points = cusumOf(deriveCusum(10, 1, { allowance: 0.5, threshold: 5 }), montgomery);
    expect(points[28]!.up).toBeCloseTo(5.28, 2);
    expect(points[29]!.up).toBeCloseTo(5.3, 2);
    expect(points.findIndex(({ signal }) => signal === 'up')).toBe(28);
    expect(points[28]!.upSince).toBe(7);
    expect(points[28]!.count - points[28]!.upSince).toBe(22);
  });
});

describe('sequential probability ratio test', () => {
  it.each([
    // NIST/SEMATECH e-Handbook, section 6.2.6; Wald 1947 (from memory); computed.
    [0.01, 0.1, 0.05, 0.1, -0.93886, 1.20538, 0.039747, 5],
    [0.1, 0.3, 0.02, 0.03, -2.5826, 2.8754, 0.18617, 4],
    [0.4, 0.5, 0.05, 0.1, -5.5524, 7.1285, 0.44966, 4],
  ])('%f against %f, errors %f and %f', (p0, p1, alpha, beta, accept, reject, slope, digits) => {
    const borders = ratioBorders(p0, p1, alpha, beta);
    expect(borders.acceptIntercept).toBeCloseTo(accept, digits);
    expect(borders.rejectIntercept).toBeCloseTo(reject, digits);
    expect(borders.slope).toBeCloseTo(slope, 5);
  });

  it('holds its error rates however long it runs', () => {
    const borders = ratioBorders(0.4, 0.5, 0.05, 0.1);
    const wrong = (p: number, verdict: string) => {
      const random = new Random(`ratio ${p}`);
      let count = 0;
      for (let run = 0; run < 2000; run++) {
        let [tries, successes] = [0, 0];
        for (;;) {
          tries++;
          if (random.chance(p)) successes++;
          const said = decideRatio(borders, tries, successes);
          if (said === 'go-on') continue;
          if (said === verdict) count++;
          break;
        }
      }
      return count / 2000;
    };
    // Three standard errors of 2,000 runs on top of the stated rate.
    expect(wrong(0.4, 'reject')).toBeLessThan(0.05 + 3 * 0.0049);
    expect(wrong(0.5, 'accept')).toBeLessThan(0.1 + 3 * 0.0067);
  });
});

describe('streaks (Miller and Sanjurjo 2018)', () => {
  it.each([
    [3, 5 / 12],
    [4, 17 / 42],
    [5, 49 / 120],
    [6, 129 / 310],
    [10, 4097 / 9198],
  ])('share of makes after a make over all runs of %i', (shots, expected) => {
    expect(expectedAfterMakes(shots, 0.5)).toBeCloseTo(expected, 12);
  });

  it('100 shots of one half: after three makes 46 %, and the difference 8 points too low', () => {
    const random = new Random('streak bias');
    const [after, difference, expected] = [[], [], []] as [number[], number[], number[]];
    for (let run = 0; run < 1500; run++) {
      const shots = Array.from({ length: 100 }, () => random.chance(0.5));
      const result = analyzeStreaks([shots], 3, random, 100);
      if (result.kind === 'insufficient') continue;
      after.push(result.afterMakes!);
      difference.push(result.difference);
      expected.push(result.expectedDifference);
    }
    const mean = (values: number[]) => values.reduce((sum, value) => sum + value, 0) / values.length;
    // Spread of a share after about 12 such streaks 0.15, of the difference 0.21; 1,500 runs; four standard errors.
    expect(Math.abs(mean(after) - 0.4602)).toBeLessThan(0.016);
    expect(Math.abs(mean(difference) - -0.079)).toBeLessThan(0.022);
    // What the test takes for no streaks at all is that bias, not zero.
    expect(Math.abs(mean(expected) - -0.079)).toBeLessThan(0.02);
  });
});
