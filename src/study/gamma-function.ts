/** Lanczos coefficients for g = 7 with nine terms (P. Godfrey 2001, "A note on the computation of the Gamma function"; from memory). */
const lanczos = [
  0.99999999999980993, 676.5203681218851, -1259.1392167224028, 771.32342877765313, -176.61502916214059,
  12.507343278686905, -0.13857109526572012, 9.9843695780195716e-6, 1.5056327351493116e-7,
];

/** @returns the natural logarithm of the gamma function for x > 0, relative error about 1e-15. */
export function logGamma(x: number): number {
  if (x < 0.5) return Math.log(Math.PI / Math.sin(Math.PI * x)) - logGamma(1 - x);
  const z = x - 1;
  let sum = lanczos[0]!;
  for (let i = 1; i < 9; i++) sum += lanczos[i]! / (z + i);
  const t = z + 7.5;
  return 0.5 * Math.log(2 * Math.PI) + (z + 0.5) * Math.log(t) - t + Math.log(sum);
}

/**
 * Regularised incomplete gamma functions P(a, x) and Q(a, x) = 1 - P, each without cancellation.
 *
 * Series for x < a + 1, else Lentz's continued fraction (Press et al. 2007, Numerical Recipes, section 6.2; from memory).
 */
export function regularizedGamma(a: number, x: number): { readonly lower: number; readonly upper: number } {
  if (x <= 0) return { lower: 0, upper: 1 };
  if (x === Number.POSITIVE_INFINITY) return { lower: 1, upper: 0 };
  const front = Math.exp(a * Math.log(x) - x - logGamma(a));
  if (x < a + 1) {
    let term = 1 / a;
    let sum = term;
    for (let n = 1; n < 100_000 && Math.abs(term) > 1e-17 * Math.abs(sum); n++) {
      term *= x / (a + n);
      sum += term;
    }
    const lower = front * sum;
    return { lower, upper: 1 - lower };
  }
  const tiny = 1e-300;
  let b = x + 1 - a;
  let c = 1 / tiny;
  let d = 1 / b;
  let h = d;
  for (let n = 1; n < 100_000; n++) {
    const an = -n * (n - a);
    b += 2;
    d = an * d + b;
    if (Math.abs(d) < tiny) d = tiny;
    c = b + an / c;
    if (Math.abs(c) < tiny) c = tiny;
    d = 1 / d;
    h *= d * c;
    if (Math.abs(d * c - 1) < 1e-16) break;
  }
  const upper = front * h;
  return { lower: 1 - upper, upper };
}

/** @returns the chance that chi-squared with `df` degrees of freedom exceeds x. */
export function chiSquaredUpper(x: number, df: number): number {
  return regularizedGamma(df / 2, x / 2).upper;
}

/** @returns the x that chi-squared with `df` degrees of freedom stays below with chance p, by bisection. */
export function chiSquaredQuantile(p: number, df: number): number {
  if (p <= 0) return 0;
  if (p >= 1) return Number.POSITIVE_INFINITY;
  let low = 0;
  let high = df + 10;
  while (regularizedGamma(df / 2, high / 2).lower < p) high *= 2;
  for (let i = 0; i < 200 && high - low > 1e-15 * high; i++) {
    const middle = (low + high) / 2;
    if (regularizedGamma(df / 2, middle / 2).lower < p) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}
