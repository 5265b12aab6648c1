import { Matrix } from 'ml-matrix';
import { expect, it } from 'vitest';
import { condition, inverseSymmetric } from '../../src/signal/gaussian.ts';
import { biasVarianceAlong, combineBiases, growBias, measureBias } from '../../src/signal/gyro-bias.ts';

const packed = (m: Matrix) => [m.get(0, 0), m.get(0, 1), m.get(0, 2), m.get(1, 1), m.get(1, 2), m.get(2, 2)];
const covariance = new Matrix([
  [4, 1, -0.5],
  [1, 3, 0.2],
  [-0.5, 0.2, 2],
]);
const other = new Matrix([
  [1, -0.3, 0.1],
  [-0.3, 2, 0.4],
  [0.1, 0.4, 5],
]);

it('takes a scalar measurement as the general update of a normal distribution does', () => {
  const state = { biasRadps: [0.1, -0.2, 0.3], covariance: packed(covariance) };
  const h = [0.3, -0.8, 0.5];
  const expected = h[0]! * 0.1 + h[1]! * -0.2 + h[2]! * 0.3;
  measureBias(state, h[0]!, h[1]!, h[2]!, 1.5 - expected, 0.7);
  const general = condition({ mean: [0.1, -0.2, 0.3], covariance }, new Matrix([h]), [1.5], [0.7]);
  for (let k = 0; k < 3; k++) expect(state.biasRadps[k]).toBeCloseTo(general.mean[k]!, 12);
  for (const [k, value] of packed(general.covariance).entries()) expect(state.covariance[k]).toBeCloseTo(value, 12);
  const along = Matrix.rowVector(h).mmul(general.covariance).mmul(Matrix.columnVector(h)).get(0, 0);
  expect(biasVarianceAlong(state, h[0]!, h[1]!, h[2]!)).toBeCloseTo(along, 12);
});

it('weighs two estimates by their covariances', () => {
  const a = { biasRadps: [1, 2, 3], covariance: packed(covariance) };
  const b = { biasRadps: [2, 1, -1], covariance: packed(other) };
  const into = { biasRadps: [0, 0, 0], covariance: [] };
  combineBiases(a, b, into);
  const both = inverseSymmetric(Matrix.add(inverseSymmetric(covariance), inverseSymmetric(other)));
  const mean = both.mmul(
    Matrix.add(
      inverseSymmetric(covariance).mmul(Matrix.columnVector(a.biasRadps)),
      inverseSymmetric(other).mmul(Matrix.columnVector(b.biasRadps)),
    ),
  );
  for (let k = 0; k < 3; k++) expect(into.biasRadps[k]).toBeCloseTo(mean.get(k, 0), 12);
  for (const [k, value] of packed(both).entries()) expect(into.covariance[k]).toBeCloseTo(value, 12);
});

it('lets the doubt grow up to its limit', () => {
  const state = { biasRadps: [0, 0, 0], covariance: [1, 0, 0, 2, 0, 3] };
  growBias(state, 0.5, 2.2);
  expect(state.covariance).toEqual([1.5, 0, 0, 2.2, 0, 2.2]);
});
