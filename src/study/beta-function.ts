import { logGamma } from './gamma-function.ts';
import { solveIncreasing } from './monotone-root.ts';

/**
 * The natural logarithm of the beta function; from arguments of 10 on by Stirling's series, whose large terms are taken out
 * beforehand, so that no digits are lost to them (DiDonato and Morris 1992, ACM Trans. Math. Softw. 18:360; from memory).
 */
export function logBeta(a: number, b: number): number {
  const small = Math.min(a, b);
  const large = Math.max(a, b);
  const share = small / (a + b);
  if (small >= 10) {
    const rest = stirlingRest(small) + stirlingRest(large) - stirlingRest(a + b);
    return (
      0.5 * Math.log(2 * Math.PI) -
      0.5 * Math.log(large) +
      rest +
      (small - 0.5) * Math.log(share) +
      large * Math.log1p(-share)
    );
  }
  if (large >= 10) {
    const rest = stirlingRest(large) - stirlingRest(a + b);
    return logGamma(small) + rest + small - small * Math.log(a + b) + (large - 0.5) * Math.log1p(-share);
  }
  return logGamma(a) + logGamma(b) - logGamma(a + b);
}

/** What Stirling's formula leaves of log gamma, for x of 10 and more. */
function stirlingRest(x: number): number {
  const square = 1 / (x * x);
  return (1 / 12 - square * (1 / 360 - square * (1 / 1260 - square * (1 / 1680 - square / 1188)))) / x;
}

/**
 * Regularised incomplete beta function I_x(a, b) in logarithms, so that tails far below 1e-300 keep their digits.
 *
 * Lentz's continued fraction (Press et al. 2007, Numerical Recipes, section 6.4; from memory); the fraction is taken on the side
 * where it converges quickly and the other side is the complement.
 */
export function logRegularizedBeta(x: number, a: number, b: number): number {
  if (x <= 0) return Number.NEGATIVE_INFINITY;
  if (x >= 1) return 0;
  if (x < (a + 1) / (a + b + 2)) return logTail(x, a, b);
  return Math.log1p(-Math.exp(logTail(1 - x, b, a)));
}

/** @returns I_x(a, b), the chance that a beta variable with parameters a, b > 0 stays below x. */
export function regularizedBeta(x: number, a: number, b: number): number {
  if (x <= 0) return 0;
  if (x >= 1) return 1;
  if (x < (a + 1) / (a + b + 2)) return Math.exp(logTail(x, a, b));
  return 1 - Math.exp(logTail(1 - x, b, a));
}

function logTail(x: number, a: number, b: number): number {
  const front = a * Math.log(x) + b * Math.log1p(-x) - logBeta(a, b) - Math.log(a);
  return front + Math.log(continuedFraction(x, a, b));
}

function continuedFraction(x: number, a: number, b: number): number {
  const tiny = 1e-300;
  let c = 1;
  let d = 1 - ((a + b) * x) / (a + 1);
  if (Math.abs(d) < tiny) d = tiny;
  d = 1 / d;
  let h = d;
  for (let m = 1; m < 100_000; m++) {
    const even = (m * (b - m) * x) / ((a + 2 * m - 1) * (a + 2 * m));
    d = 1 + even * d;
    if (Math.abs(d) < tiny) d = tiny;
    c = 1 + even / c;
    if (Math.abs(c) < tiny) c = tiny;
    d = 1 / d;
    h *= d * c;
    const odd = (-(a + m) * (a + b + m) * x) / ((a + 2 * m) * (a + 2 * m + 1));
    d = 1 + odd * d;
    if (Math.abs(d) < tiny) d = tiny;
    c = 1 + odd / c;
    if (Math.abs(c) < tiny) c = tiny;
    d = 1 / d;
    h *= d * c;
    if (Math.abs(d * c - 1) < 1e-16) break;
  }
  return h;
}

/** @returns the x that a beta variable with parameters a, b > 0 stays below with chance p. */
export function betaQuantile(p: number, a: number, b: number): number {
  if (p <= 0) return 0;
  if (p >= 1) return 1;
  const scale = logBeta(a, b);
  const density = (x: number) => Math.exp((a - 1) * Math.log(x) + (b - 1) * Math.log1p(-x) - scale);
  return solveIncreasing((x) => regularizedBeta(x, a, b), density, p, 0, 1, a / (a + b));
}
