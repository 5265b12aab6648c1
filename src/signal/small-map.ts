import { CholeskyDecomposition, Matrix } from 'ml-matrix';

/** Values with their standard errors, and what is left over. */
export interface MapEstimate {
  readonly values: readonly number[];
  readonly standardErrors: readonly number[];
}

/**
 * Least squares with priors, by Gauss–Newton: least sum of (residual / sigma)² and of ((value − prior) / priorSigma)².
 *
 * Source: common practice (maximum a posteriori with normal errors; covariance from the normal matrix).
 *
 * @param residualsOf residuals in units of their standard deviation.
 * @returns null where the normal matrix has no inverse.
 */
export function estimateSmallMap(
  priors: readonly { readonly value: number; readonly sigma: number }[],
  residualsOf: (values: readonly number[]) => readonly number[],
): MapEstimate | null {
  let values = priors.map(({ value }) => value);
  const all = (at: readonly number[]) => [
    ...residualsOf(at),
    ...priors.map(({ value, sigma }, k) => (at[k]! - value) / sigma),
  ];
  let normal = Matrix.eye(values.length);
  for (let round = 0; round < 12; round++) {
    const residuals = all(values);
    const jacobian = Matrix.zeros(residuals.length, values.length);
    for (const [k, { sigma }] of priors.entries()) {
      const step = 1e-4 * sigma;
      const ahead = all(values.map((value, at) => (at === k ? value + step : value)));
      const behind = all(values.map((value, at) => (at === k ? value - step : value)));
      for (let row = 0; row < residuals.length; row++) {
        jacobian.set(row, k, (ahead[row]! - behind[row]!) / (2 * step));
      }
    }
    const transposed = jacobian.transpose();
    normal = transposed.mmul(jacobian);
    const cholesky = new CholeskyDecomposition(normal);
    if (!cholesky.isPositiveDefinite()) return null;
    const change = cholesky.solve(transposed.mmul(Matrix.columnVector([...residuals]))).to1DArray();
    values = values.map((value, k) => value - change[k]!);
    if (change.every((each, k) => Math.abs(each) < 1e-9 * priors[k]!.sigma)) break;
  }
  const covariance = new CholeskyDecomposition(normal).solve(Matrix.eye(values.length));
  return { values, standardErrors: priors.map((_, k) => Math.sqrt(covariance.get(k, k))) };
}
