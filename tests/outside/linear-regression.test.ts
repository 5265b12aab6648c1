/**
 * SOURCE: NIST Statistical Reference Datasets, linear regression, "Norris": data and certified values.
 * MADE BY: National Institute of Standards and Technology (Norris, J., calibration of ozone monitors).
 * LICENCE: public domain; data typed from memory and proved right by the certified values.
 * TOLERANCE: certified values have 15 digits; the belief uses a nearly flat prior and a grid of the scatter: 1e-6 relative
 * for the line, 1e-3 of the interval's half width for Student's t against the mixture.
 */
import { expect, it } from 'vitest';
import { believeLine, predictLine } from '../../src/shots/wrist/linear-belief.ts';

const norris = `0.1 0.2;338.8 337.4;118.1 118.2;888.0 884.6;9.2 10.1;228.1 226.5;668.5 666.3;998.5 996.3;449.1 448.6;
778.9 777.0;559.2 558.2;0.3 0.4;0.1 0.6;778.1 775.5;668.8 666.9;339.3 338.0;448.9 447.5;10.8 11.6;557.7 556.0;
228.3 228.1;998.0 995.8;888.8 887.6;119.6 120.2;0.3 0.3;0.6 0.3;557.6 556.8;339.3 339.1;888.0 887.2;998.5 999.0;
778.9 779.0;10.2 11.1;117.6 118.3;228.9 229.2;668.4 669.1;449.2 448.9;0.2 0.5`
  .split(';')
  .map((pair) => pair.trim().split(' ').map(Number) as [number, number]);

const certified = {
  slope: 1.00211681802045,
  slopeSd: 0.000429796848199937,
  offset: -0.262323073774029,
  offsetSd: 0.232818234301152,
  residualSd: 0.884796396144373,
};
/** 95 % quantile of Student's t with 34 degrees of freedom (tables). */
const t34 = 1.690924;

const flat = {
  slope: 0,
  slopeSd: 1e6,
  offset: 0,
  offsetSd: 1e8,
  logScatterDensity: () => 0,
  scatterFrom: 0.3,
  scatterTo: 3,
};

it('becomes the classical regression with a flat prior', () => {
  const points = norris.map(([y, x]) => ({ x, y, knownVariance: 0, scatterScale: 1 }));
  const belief = believeLine(points, flat);
  const mean = (of: 'slope' | 'offset') => belief.parts.reduce((sum, part) => sum + part.weight * part[of], 0);
  expect(Math.abs(mean('slope') / certified.slope - 1)).toBeLessThan(1e-6);
  expect(Math.abs(mean('offset') / certified.offset - 1)).toBeLessThan(1e-6);
  const meanX = norris.reduce((sum, [, x]) => sum + x, 0) / 36;
  const squares = norris.reduce((sum, [, x]) => sum + (x - meanX) ** 2, 0);
  for (const x of [0, 400, 1000]) {
    const half = t34 * certified.residualSd * Math.sqrt(1 + 1 / 36 + (x - meanX) ** 2 / squares);
    const middle = certified.offset + certified.slope * x;
    const [low, high] = predictLine(belief, x, 0, 1).interval90;
    expect(Math.abs(low - (middle - half))).toBeLessThan(1e-3 * half);
    expect(Math.abs(high - (middle + half))).toBeLessThan(1e-3 * half);
  }
});

it('gives the classical standard errors once the scatter is known', () => {
  const points = norris.map(([y, x]) => ({ x, y, knownVariance: certified.residualSd ** 2, scatterScale: 0 }));
  const [part] = believeLine(points, flat).parts;
  expect(Math.sqrt(part!.slopeVariance) / certified.slopeSd).toBeCloseTo(1, 6);
  expect(Math.sqrt(part!.offsetVariance) / certified.offsetSd).toBeCloseTo(1, 6);
});
