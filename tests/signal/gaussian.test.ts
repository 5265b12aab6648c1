import fc from 'fast-check';
import { CholeskyDecomposition, inverse, Matrix, solve } from 'ml-matrix';
import { describe, expect, it } from 'vitest';
import {
  absorb,
  condition,
  type Gaussian,
  independent,
  inverseSymmetric,
  sigmaDirections,
  symmetric,
} from '../../src/signal/gaussian.ts';

const number = (size: number) => fc.double({ min: -size, max: size, noNaN: true });
const numbers = (count: number, size: number) => fc.array(number(size), { minLength: count, maxLength: count });

/** A Aᵀ + 0.1 with entries of A up to 2: condition at most 3 · 12 / 0.1, so that 1e-16 of rounding becomes 1e-13 or so. */
const covariance3 = numbers(9, 2).map((entries) => {
  const root = new Matrix([entries.slice(0, 3), entries.slice(3, 6), entries.slice(6, 9)]);
  return symmetric(root.mmul(root.transpose())).add(Matrix.eye(3, 3).mul(0.1));
});
const gaussian3: fc.Arbitrary<Gaussian> = fc.record({ mean: numbers(3, 5), covariance: covariance3 });
const design23 = numbers(6, 2).map((entries) => new Matrix([entries.slice(0, 3), entries.slice(3, 6)]));
const variances = (count: number) =>
  fc.array(fc.double({ min: 0.05, max: 4, noNaN: true }), { minLength: count, maxLength: count });

/** Rounding times the condition of the matrices above, twice over. */
const tolerance = 1e-9;

function expectSame(found: Gaussian, expected: Gaussian): void {
  for (const [i, value] of expected.mean.entries())
    expect(Math.abs((found.mean[i] as number) - value)).toBeLessThan(tolerance);
  expectMatrix(found.covariance, expected.covariance);
}

function expectMatrix(found: Matrix, expected: Matrix): void {
  expect([found.rows, found.columns]).toEqual([expected.rows, expected.columns]);
  expect(Matrix.sub(found, expected).norm()).toBeLessThan(tolerance * (1 + expected.norm()));
}

describe('conditioning on an observation', () => {
  it('of one quantity is the scalar Kalman update', () => {
    // Kalman 1960, J. Basic Eng. 82:35: gain P h / (h² P + R).
    fc.assert(
      fc.property(
        number(5),
        fc.double({ min: 0.05, max: 3, noNaN: true }),
        number(2),
        number(5),
        variances(1),
        (m, sd, h, z, [r]) => {
          const p = sd * sd;
          const gain = (p * h) / (h * h * p + (r as number));
          const found = condition(independent([m], [sd]), new Matrix([[h]]), [z], [r as number]);
          expectSame(found, { mean: [m + gain * (z - h * m)], covariance: new Matrix([[(1 - gain * h) * p]]) });
        },
      ),
    );
  });

  it('of two equally sure sources lies in the middle, half as uncertain in variance', () => {
    const found = condition(independent([1], [2]), new Matrix([[1]]), [3], [4]);
    expect(found.mean[0]).toBeCloseTo(2, 14);
    expect(found.covariance.get(0, 0)).toBeCloseTo(2, 14);
  });

  it('is the least-squares solution of prior and observations together', () => {
    fc.assert(
      fc.property(gaussian3, design23, numbers(2, 5), variances(2), (prior, design, observed, variance) => {
        // Every row divided by its standard deviation; the prior's rows by the inverse of its factor.
        const whitener = inverse(sigmaDirections(prior.covariance));
        const rows = new Matrix(5, 3);
        const right = new Matrix(5, 1);
        const whiteMean = whitener.mmul(Matrix.columnVector([...prior.mean]));
        for (let i = 0; i < 3; i++) {
          for (let j = 0; j < 3; j++) rows.set(i, j, whitener.get(i, j));
          right.set(i, 0, whiteMean.get(i, 0));
        }
        for (let i = 0; i < 2; i++) {
          const weight = 1 / Math.sqrt(variance[i] as number);
          for (let j = 0; j < 3; j++) rows.set(3 + i, j, weight * design.get(i, j));
          right.set(3 + i, 0, weight * (observed[i] as number));
        }
        expectSame(condition(prior, design, observed, variance), {
          mean: solve(rows, right).to1DArray(),
          covariance: inverse(rows.transpose().mmul(rows)),
        });
      }),
    );
  });

  it('gives the same whether observations come together or one by one', () => {
    fc.assert(
      fc.property(gaussian3, design23, numbers(2, 5), variances(2), (prior, design, observed, variance) => {
        let one = prior;
        for (let i = 0; i < 2; i++) {
          const row = new Matrix([design.getRow(i)]);
          one = condition(one, row, [observed[i] as number], [variance[i] as number]);
        }
        expectSame(one, condition(prior, design, observed, variance));
      }),
    );
  });

  it('never makes anything less certain, and leaves its input', () => {
    fc.assert(
      fc.property(gaussian3, design23, numbers(2, 5), variances(2), (prior, design, observed, variance) => {
        const before = prior.covariance.to2DArray();
        const found = condition(prior, design, observed, variance);
        for (let i = 0; i < 3; i++)
          expect(found.covariance.get(i, i)).toBeLessThanOrEqual(prior.covariance.get(i, i) + tolerance);
        expect(prior.covariance.to2DArray()).toEqual(before);
      }),
    );
  });
});

describe('absorbing what was learnt of a projection', () => {
  it('is conditioning, when the learning was one measurement', () => {
    fc.assert(
      fc.property(
        gaussian3,
        design23,
        numbers(2, 5),
        variances(1),
        variances(2),
        (prior, design, observed, [extra], noise) => {
          const spread = design.mmul(prior.covariance).mmul(design.transpose());
          const before: Gaussian = {
            mean: design.mmul(Matrix.columnVector([...prior.mean])).to1DArray(),
            covariance: symmetric(spread).add(Matrix.eye(2, 2).mul(extra as number)),
          };
          const learnt = condition(before, Matrix.eye(2, 2), observed, noise);
          const both = noise.map((variance) => variance + (extra as number));
          expectSame(
            absorb(prior, design, learnt, [extra as number, extra as number]),
            condition(prior, design, observed, both),
          );
        },
      ),
    );
  });

  it('changes nothing when nothing was learnt', () => {
    fc.assert(
      fc.property(gaussian3, design23, variances(1), (prior, design, [extra]) => {
        const spread = symmetric(design.mmul(prior.covariance).mmul(design.transpose()));
        const learnt: Gaussian = {
          mean: design.mmul(Matrix.columnVector([...prior.mean])).to1DArray(),
          covariance: spread.add(Matrix.eye(2, 2).mul(extra as number)),
        };
        expectSame(absorb(prior, design, learnt, [extra as number, extra as number]), prior);
      }),
    );
  });
});

describe('the small parts', () => {
  it('makes independent quantities from their standard deviations', () => {
    const { mean, covariance } = independent([1, 2], [3, 4]);
    expect(mean).toEqual([1, 2]);
    expect(covariance.to2DArray()).toEqual([
      [9, 0],
      [0, 16],
    ]);
  });

  it('inverts and factors', () => {
    fc.assert(
      fc.property(covariance3, (covariance) => {
        expectMatrix(inverseSymmetric(covariance).mmul(covariance), Matrix.eye(3, 3));
        const factor = sigmaDirections(covariance);
        expectMatrix(factor.mmul(factor.transpose()), covariance);
        for (const [i, j] of [
          [0, 1],
          [0, 2],
          [1, 2],
        ] as const)
          expect(factor.get(i, j)).toBe(0);
      }),
    );
  });

  it('inverts and factors as the library does, to the last digit', () => {
    // SOURCE: ml-matrix 6, CholeskyDecomposition.
    fc.assert(
      fc.property(covariance3, (covariance) => {
        const cholesky = new CholeskyDecomposition(covariance);
        const solved = cholesky.solve(Matrix.eye(3, 3));
        const both = Matrix.add(solved, solved.transpose()).mul(0.5);
        expect(inverseSymmetric(covariance).to1DArray()).toEqual(both.to1DArray());
        expect(sigmaDirections(covariance).to1DArray()).toEqual(cholesky.lowerTriangularMatrix.to1DArray());
      }),
    );
  });

  it('factors a covariance that rounding has made singular', () => {
    // Two quantities that are one: the ridge of 1e-14 to 1e-8 of the largest entry is all that it may be off by.
    const twins = new Matrix([
      [4, 4],
      [4, 4],
    ]);
    const factor = sigmaDirections(twins);
    expect(Matrix.sub(factor.mmul(factor.transpose()), twins).norm()).toBeLessThan(4 * 2e-8);
  });

  it('says so where a matrix is no covariance', () => {
    const indefinite = new Matrix([
      [1, 2],
      [2, 1],
    ]);
    expect(() => inverseSymmetric(indefinite)).toThrow('a 2 × 2 matrix that should be positive definite is not');
    expect(() => sigmaDirections(indefinite)).toThrow('a 2 × 2 covariance is not positive definite');
  });
});
