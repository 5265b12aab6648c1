import { CholeskyDecomposition, Matrix } from 'ml-matrix';
import { describe, expect, it } from 'vitest';
import type { FlightData } from '../../src/flight/flight-data.ts';
import { fitWhite, posteriorWeights, slowTimeS, whiten, whitening } from '../../src/flight/slow-noise.ts';
import { normalSource } from '../helpers/thrown-ball.ts';

function made(timesS: readonly number[], weights: readonly number[]): FlightData {
  const n = timesS.length;
  return {
    length: n,
    timeS: Float64Array.from(timesS),
    accelMps2: new Float64Array(3 * n),
    rateRadps: new Float64Array(3 * n),
    rateDotRadps2: new Float64Array(3 * n),
    weight: Float64Array.from({ length: 3 * n }, (_, i) => weights[Math.floor(i / 3)] as number),
    stride: 2,
    rateClipped: [false, false, false],
    decayErrorPerS: 0,
  };
}

describe('whitening', () => {
  const timesS = [0, 0.01, 0.02, 0.05, 0.06, 0.4];
  const data = made(timesS, [2, 2, 2, 2, 2, 2]);
  const noise = { whiteMps2: 0.03, slowMps2: 0.02 };

  it('gives squares and determinant of the full covariance', () => {
    // The covariance itself: white on the diagonal, an exponential beside it.
    const covariance = new Matrix(
      timesS.map((a, i) =>
        timesS.map((b, j) => (i === j ? 0.03 ** 2 / 2 : 0) + 0.02 ** 2 * Math.exp(-Math.abs(a - b) / slowTimeS)),
      ),
    );
    const cholesky = new CholeskyDecomposition(covariance);
    const normal = normalSource(1);
    const values = Float64Array.from({ length: 18 }, () => normal());
    const out = new Float64Array(18);
    const filter = whitening(data, noise);
    whiten(values, filter, out);
    let expected = 0;
    for (let axis = 0; axis < 3; axis++) {
      const column = Matrix.columnVector(timesS.map((_, i) => values[3 * i + axis] as number));
      expected += column.transpose().mmul(cholesky.solve(column)).get(0, 0);
    }
    expect(out.reduce((sum, e) => sum + e * e, 0)).toBeCloseTo(expected, 6);
    let determinant = 0;
    for (let i = 0; i < 6; i++) determinant += 6 * Math.log(cholesky.lowerTriangularMatrix.get(i, i));
    expect(filter.logDeterminant).toBeCloseTo(determinant, 9);
  });

  it('passes over samples that do not count, as if they were not there', () => {
    const holed = made(timesS, [2, 0, 2, 2, 0, 2]);
    const kept = made([0, 0.02, 0.05, 0.4], [2, 2, 2, 2]);
    const values = Float64Array.from({ length: 18 }, (_, i) => Math.sin(i));
    const rest = Float64Array.from(
      [0, 2, 3, 5].flatMap((i) => [0, 1, 2].map((axis) => values[3 * i + axis] as number)),
    );
    const squares = (column: Float64Array, of: FlightData) => {
      const out = new Float64Array(column.length);
      whiten(column, whitening(of, noise), out);
      return out.reduce((sum, e) => sum + e * e, 0);
    };
    expect(squares(values, holed)).toBeCloseTo(squares(rest, kept), 9);
  });

  it('finds the white part beside a slow one that is known', () => {
    const normal = normalSource(7);
    const n = 2000;
    const long = made(
      Array.from({ length: n }, (_, i) => 0.01 * i),
      new Array(n).fill(1),
    );
    const keep = Math.exp(-0.01 / slowTimeS);
    let slow = 0;
    const residual = new Float64Array(3 * n);
    for (let axis = 0; axis < 3; axis++) {
      for (let i = 0; i < n; i++) {
        slow = keep * slow + 0.02 * Math.sqrt(1 - keep * keep) * normal();
        residual[3 * i + axis] = slow + 0.03 * normal();
      }
    }
    // 6,000 values know a standard deviation to about one percent.
    expect(Math.abs(fitWhite(residual, long, 0.02, 3 * n) - 0.03)).toBeLessThan(0.0012);
  });
});

describe('the white part', () => {
  // The plain halving that its search for the same number looks ahead of.
  const halved = (residual: Float64Array, data: FlightData, slowMps2: number, free: number): number => {
    let [low, high] = [0.006, 60];
    for (let step = 0; step < 14; step++) {
      const middle = Math.sqrt(low * high);
      const out = new Float64Array(residual.length);
      whiten(residual, whitening(data, { whiteMps2: middle, slowMps2 }), out);
      if (out.reduce((sum, e) => sum + e * e, 0) > free) low = middle;
      else high = middle;
    }
    return Math.sqrt(low * high);
  };

  it.each([0, 1e-4, 0.003, 0.03, 0.3, 4, 500])('is that of plain halving for residuals of %f m/s²', (sizeMps2) => {
    const normal = normalSource(11);
    const n = 60;
    const data = made(
      Array.from({ length: n }, (_, i) => 0.0151 * i),
      Array.from({ length: n }, (_, i) => (i % 17 === 3 ? 0 : 3)),
    );
    const residual = Float64Array.from({ length: 3 * n }, () => sizeMps2 * normal());
    for (const slowMps2 of [0, 0.005, 0.04]) {
      for (const free of [1, 90, 168]) {
        expect(fitWhite(residual, data, slowMps2, free)).toBe(halved(residual, data, slowMps2, free));
      }
    }
  });
});

describe('weights of hypotheses', () => {
  it('follow Bayes and stay as they were where nothing can be told', () => {
    const [a, b] = posteriorWeights([0.5, 0.5], [0, Math.log(3)]);
    expect(a).toBeCloseTo(0.25, 12);
    expect(b).toBeCloseTo(0.75, 12);
    expect(posteriorWeights([0.2, 0.8], [Number.NEGATIVE_INFINITY, Number.NEGATIVE_INFINITY])).toEqual([0.2, 0.8]);
  });
});
