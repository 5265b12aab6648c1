import { Matrix } from 'ml-matrix';

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
  return squareOf(invertSymmetric(flatOf(matrix), n), n);
}

/**
 * The same of plain numbers by rows (n × n): a flight takes dozens, for which matrix objects cost more than the arithmetic.
 *
 * @throws RangeError as above, and where the matrix is not symmetric or holds what is no number.
 */
export function invertSymmetric(matrix: Float64Array, n: number): Float64Array {
  let largest = 0;
  for (let i = 0; i < n; i++) {
    largest = Math.max(largest, matrix[i * n + i] as number);
    for (let j = 0; j <= i; j++) {
      if (matrix[i * n + j] !== matrix[j * n + i]) throw new RangeError(`a ${n} × ${n} matrix is not symmetric`);
    }
  }
  const factor = new Float64Array(n * n);
  for (const ridge of [0, 1e-12, 1e-9]) {
    const more = ridge * largest;
    if (!factorOf(matrix, n, more, factor)) continue;
    const inverse = backFrom(factor, n);
    for (let i = 0; i < n; i++) {
      // Rounding has driven the two halves apart.
      for (let j = 0; j < i; j++) {
        const mean = ((inverse[i * n + j] as number) + (inverse[j * n + i] as number)) * 0.5;
        inverse[i * n + j] = mean;
        inverse[j * n + i] = mean;
      }
    }
    return inverse;
  }
  throw new RangeError(`a ${n} × ${n} matrix that should be positive definite is not`);
}

/** Cholesky's factor L of `matrix` + `more` · I = L Lᵀ. @returns whether there is one. */
function factorOf(matrix: Float64Array, n: number, more: number, factor: Float64Array): boolean {
  for (let j = 0; j < n; j++) {
    const row = j * n;
    let squares = 0;
    for (let k = 0; k < j; k++) {
      const other = k * n;
      let s = 0;
      for (let i = 0; i < k; i++) s += (factor[other + i] as number) * (factor[row + i] as number);
      s = ((matrix[row + k] as number) - s) / (factor[other + k] as number);
      factor[row + k] = s;
      squares += s * s;
    }
    const diagonal = (matrix[row + j] as number) + more - squares;
    if (!(diagonal > 0)) return false;
    factor[row + j] = Math.sqrt(diagonal);
  }
  return true;
}

/** @returns the inverse of L Lᵀ, column by column of the identity, its two halves not yet made one. */
function backFrom(factor: Float64Array, n: number): Float64Array {
  const inverse = new Float64Array(n * n);
  for (let k = 0; k < n; k++) {
    const row = k * n;
    const root = factor[row + k] as number;
    inverse[row + k] = 1 / root;
    // L is triangular, so is its inverse.
    for (let j = 0; j < k; j++) {
      let s = 0;
      for (let i = j; i < k; i++) s -= (inverse[i * n + j] as number) * (factor[row + i] as number);
      inverse[row + j] = s / root;
    }
  }
  for (let k = n - 1; k >= 0; k--) {
    const row = k * n;
    const root = factor[row + k] as number;
    for (let j = 0; j < n; j++) {
      let s = inverse[row + j] as number;
      for (let i = k + 1; i < n; i++) s -= (inverse[i * n + j] as number) * (factor[i * n + k] as number);
      inverse[row + j] = s / root;
    }
  }
  return inverse;
}

/** @returns the entries of a matrix by rows. */
function flatOf(matrix: Matrix): Float64Array {
  const { rows, columns } = matrix;
  const flat = new Float64Array(rows * columns);
  for (let i = 0; i < rows; i++) for (let j = 0; j < columns; j++) flat[i * columns + j] = matrix.get(i, j);
  return flat;
}

/** @returns a copy of a matrix. */
export function copyOf(matrix: Matrix): Matrix {
  return matrix.subMatrix(0, matrix.rows - 1, 0, matrix.columns - 1);
}

/** @returns n × n numbers by rows as a matrix. */
export function squareOf(flat: Float64Array, n: number): Matrix {
  const matrix = new Matrix(n, n);
  for (let i = 0; i < n; i++) for (let j = 0; j < n; j++) matrix.set(i, j, flat[i * n + j] as number);
  return matrix;
}

/** @returns the lower triangular factor L of `covariance` = L Lᵀ, its columns the one-sigma directions. */
export function sigmaDirections(covariance: Matrix): Matrix {
  const n = covariance.rows;
  return squareOf(factorSymmetric(flatOf(covariance), n), n);
}

/** The same of plain numbers by rows (n × n). @throws RangeError where there is none. */
export function factorSymmetric(covariance: Float64Array, n: number): Float64Array {
  let largest = 0;
  for (let i = 0; i < n; i++) largest = Math.max(largest, covariance[i * n + i] as number);
  const factor = new Float64Array(n * n);
  for (const ridge of [0, 1e-14, 1e-11, 1e-8]) if (factorOf(covariance, n, ridge * largest, factor)) return factor;
  throw new RangeError(`a ${n} × ${n} covariance is not positive definite`);
}

/** @returns the average of a matrix and its transpose, which rounding may have driven apart. */
export function symmetric(matrix: Matrix): Matrix {
  const n = matrix.rows;
  const mean = new Matrix(n, n);
  for (let i = 0; i < n; i++) for (let j = 0; j < n; j++) mean.set(i, j, (matrix.get(i, j) + matrix.get(j, i)) * 0.5);
  return mean;
}

/** @returns a sum of two matrices of one size, each times its share. The library's own sums copy by an iterator, at ten times the price. */
export function mixed(a: Matrix, shareA: number, b: Matrix, shareB: number): Matrix {
  const { rows, columns } = a;
  const sum = new Matrix(rows, columns);
  for (let i = 0; i < rows; i++) {
    for (let j = 0; j < columns; j++) sum.set(i, j, shareA * a.get(i, j) + shareB * b.get(i, j));
  }
  return sum;
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
  const spread = symmetric(mixed(design.mmul(cross), 1, Matrix.diag([...noiseVariance]), 1));
  const gain = cross.mmul(inverseSymmetric(spread));
  const mean = Matrix.columnVector([...prior.mean]);
  const innovation = mixed(Matrix.columnVector([...observed]), 1, design.mmul(mean), -1);
  return {
    mean: mixed(mean, 1, gain.mmul(innovation), 1).to1DArray(),
    covariance: symmetric(mixed(prior.covariance, 1, gain.mmul(cross.transpose()), -1)),
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
  const shift = mixed(Matrix.columnVector([...learnt.mean]), 1, design.mmul(mean), -1);
  const shrink = mixed(before, 1, learnt.covariance, -1);
  return {
    mean: mixed(mean, 1, gain.mmul(shift), 1).to1DArray(),
    covariance: symmetric(mixed(prior.covariance, 1, gain.mmul(shrink).mmul(gain.transpose()), -1)),
  };
}
