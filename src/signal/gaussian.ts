import { CholeskyDecomposition, Matrix } from 'ml-matrix';

/** A joint normal distribution of n quantities: mean (n) and covariance (n × n). */
export interface Gaussian {
  readonly mean: readonly number[];
  readonly covariance: Matrix;
}

/** @returns a distribution of independent quantities. */
export function independent(mean: readonly number[], standardDeviation: readonly number[]): Gaussian {
  return { mean: [...mean], covariance: Matrix.diag(standardDeviation.map((s) => s * s)) };
}

/**
 * The inverse of a symmetric positive definite matrix. A ridge of 1e-12 of the largest diagonal entry is added when
 * rounding has made the matrix indefinite.
 *
 * @throws RangeError when the matrix is not positive definite even so.
 */
export function inverseSymmetric(matrix: Matrix): Matrix {
  const n = matrix.rows;
  let largest = 0;
  for (let i = 0; i < n; i++) largest = Math.max(largest, matrix.get(i, i));
  for (const ridge of [0, 1e-12, 1e-9]) {
    const trial = ridge === 0 ? matrix : Matrix.add(matrix, Matrix.eye(n, n).mul(ridge * largest));
    const cholesky = new CholeskyDecomposition(trial);
    if (cholesky.isPositiveDefinite()) return symmetric(cholesky.solve(Matrix.eye(n, n)));
  }
  throw new RangeError(`a ${n} × ${n} matrix that should be positive definite is not`);
}

/** @returns the lower triangular factor L of `covariance` = L Lᵀ, its columns the one-sigma directions. */
export function sigmaDirections(covariance: Matrix): Matrix {
  const n = covariance.rows;
  let largest = 0;
  for (let i = 0; i < n; i++) largest = Math.max(largest, covariance.get(i, i));
  for (const ridge of [0, 1e-14, 1e-11, 1e-8]) {
    const trial = ridge === 0 ? covariance : Matrix.add(covariance, Matrix.eye(n, n).mul(ridge * largest));
    const cholesky = new CholeskyDecomposition(trial);
    if (cholesky.isPositiveDefinite()) return cholesky.lowerTriangularMatrix;
  }
  throw new RangeError(`a ${n} × ${n} covariance is not positive definite`);
}

/** @returns the average of a matrix and its transpose, which rounding may have driven apart. */
export function symmetric(matrix: Matrix): Matrix {
  return Matrix.add(matrix, matrix.transpose()).mul(0.5);
}

/**
 * Updates a distribution by a linear observation `observed = design · x + noise` (Kalman's measurement update).
 *
 * @param prior distribution of x (n).
 * @param design m × n.
 * @param observed m values.
 * @param noiseVariance m variances of independent noise.
 */
export function condition(
  prior: Gaussian,
  design: Matrix,
  observed: readonly number[],
  noiseVariance: readonly number[],
): Gaussian {
  const cross = prior.covariance.mmul(design.transpose());
  const spread = symmetric(Matrix.add(design.mmul(cross), Matrix.diag([...noiseVariance])));
  const gain = cross.mmul(inverseSymmetric(spread));
  const mean = Matrix.columnVector([...prior.mean]);
  const innovation = Matrix.sub(Matrix.columnVector([...observed]), design.mmul(mean));
  return {
    mean: Matrix.add(mean, gain.mmul(innovation)).to1DArray(),
    covariance: symmetric(Matrix.sub(prior.covariance, gain.mmul(cross.transpose()))),
  };
}

/**
 * Carries what was learnt about a projection `y = design · x + e` back to x, when the prior of y came from x itself.
 *
 * This is the smoothing step of Rauch, Tung and Striebel 1965 (AIAA J. 3:1445).
 *
 * @param prior distribution of x (n).
 * @param design m × n.
 * @param learnt distribution of y (m) after it was estimated with `design · prior` as its prior.
 * @param extraVariance variances of e (m), independent.
 */
export function absorb(prior: Gaussian, design: Matrix, learnt: Gaussian, extraVariance: readonly number[]): Gaussian {
  const cross = prior.covariance.mmul(design.transpose());
  const before = symmetric(design.mmul(cross)).add(Matrix.diag([...extraVariance]));
  const gain = cross.mmul(inverseSymmetric(before));
  const mean = Matrix.columnVector([...prior.mean]);
  const shift = Matrix.sub(Matrix.columnVector([...learnt.mean]), design.mmul(mean));
  const shrink = Matrix.sub(before, learnt.covariance);
  return {
    mean: Matrix.add(mean, gain.mmul(shift)).to1DArray(),
    covariance: symmetric(Matrix.sub(prior.covariance, gain.mmul(shrink).mmul(gain.transpose()))),
  };
}
