import { CholeskyDecomposition, determinant, Matrix } from 'ml-matrix';
import { describe, expect, it } from 'vitest';
import { backward, factorise, forward, logDeterminant, times } from '../../src/flight/normal-solver.ts';

const n = 6;
/** Positive definite: B Bᵀ + 1 with smooth entries. */
const b = Matrix.zeros(n, n);
for (let r = 0; r < n; r++) for (let c = 0; c < n; c++) b.set(r, c, Math.sin(1 + r * n + 2 * c));
const matrix = Matrix.add(b.mmul(b.transpose()), Matrix.eye(n, n));

describe('small symmetric systems', () => {
  it('solve as the matrix package does', () => {
    const right = Float64Array.from({ length: n }, (_, i) => Math.cos(i));
    const expected = new CholeskyDecomposition(matrix).solve(Matrix.columnVector(right)).to1DArray();
    const factor = Float64Array.from(matrix.to1DArray());
    expect(factorise(factor, n)).toBe(true);
    const x = right.slice();
    forward(factor, n, x);
    backward(factor, n, x);
    for (let i = 0; i < n; i++) expect(x[i]).toBeCloseTo(expected[i] as number, 12);
    const back = times(Float64Array.from(matrix.to1DArray()), n, x);
    for (let i = 0; i < n; i++) expect(back[i]).toBeCloseTo(right[i] as number, 12);
    expect(logDeterminant(factor, n)).toBeCloseTo(Math.log(determinant(matrix)), 10);
  });

  it('say when a matrix is not positive definite, or not finite', () => {
    expect(factorise(Float64Array.of(1, 2, 2, 1), 2)).toBe(false);
    expect(factorise(Float64Array.of(Number.NaN, 0, 0, 1), 2)).toBe(false);
  });
});
