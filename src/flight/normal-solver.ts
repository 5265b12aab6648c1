/**
 * Small symmetric systems of the flight fit, as plain numbers by rows (n × n): a fit solves dozens, for which matrix objects cost more
 * than the arithmetic.
 */

/**
 * Cholesky's factor L of A = L Lᵀ in place of the lower triangle of `a`.
 *
 * @returns whether `a` was positive definite; where not, its content is spoilt.
 */
export function factorise(a: Float64Array, n: number): boolean {
  for (let j = 0; j < n; j++) {
    const row = j * n;
    let diagonal = a[row + j] as number;
    for (let k = 0; k < j; k++) diagonal -= (a[row + k] as number) ** 2;
    if (!(diagonal > 0)) return false;
    const root = Math.sqrt(diagonal);
    a[row + j] = root;
    for (let i = j + 1; i < n; i++) {
      const other = i * n;
      let s = a[other + j] as number;
      for (let k = 0; k < j; k++) s -= (a[other + k] as number) * (a[row + k] as number);
      a[other + j] = s / root;
    }
  }
  return true;
}

/** Solves L y = b in place. */
export function forward(factor: Float64Array, n: number, b: Float64Array): void {
  for (let i = 0; i < n; i++) {
    let s = b[i] as number;
    for (let k = 0; k < i; k++) s -= (factor[i * n + k] as number) * (b[k] as number);
    b[i] = s / (factor[i * n + i] as number);
  }
}

/** Solves Lᵀ x = y in place. */
export function backward(factor: Float64Array, n: number, y: Float64Array): void {
  for (let i = n - 1; i >= 0; i--) {
    let s = y[i] as number;
    for (let k = i + 1; k < n; k++) s -= (factor[k * n + i] as number) * (y[k] as number);
    y[i] = s / (factor[i * n + i] as number);
  }
}

/** Logarithm of the determinant of A from its factor. */
export function logDeterminant(factor: Float64Array, n: number): number {
  let sum = 0;
  for (let i = 0; i < n; i++) sum += 2 * Math.log(factor[i * n + i] as number);
  return sum;
}

/** A x. */
export function times(a: Float64Array, n: number, x: Float64Array): Float64Array {
  const out = new Float64Array(n);
  for (let i = 0; i < n; i++) {
    let s = 0;
    for (let k = 0; k < n; k++) s += (a[i * n + k] as number) * (x[k] as number);
    out[i] = s;
  }
  return out;
}

export function inner(a: Float64Array, b: Float64Array): number {
  let sum = 0;
  for (let i = 0; i < a.length; i++) sum += (a[i] as number) * (b[i] as number);
  return sum;
}

export function sum(a: Float64Array, b: Float64Array): Float64Array {
  const out = new Float64Array(a.length);
  for (let i = 0; i < a.length; i++) out[i] = (a[i] as number) + (b[i] as number);
  return out;
}
