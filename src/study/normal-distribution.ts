import { regularizedGamma } from './gamma-function.ts';

/** @returns the chance that a standard normal variable exceeds x; keeps its digits far out. */
export function normalUpper(x: number): number {
  if (x < 0) return 1 - normalUpper(-x);
  return 0.5 * regularizedGamma(0.5, (x * x) / 2).upper;
}

/** @returns the chance that a standard normal variable stays below x. */
export function normalCdf(x: number): number {
  return normalUpper(-x);
}

/** @returns the density of the standard normal distribution. */
export function normalDensity(x: number): number {
  return Math.exp((-x * x) / 2) / Math.sqrt(2 * Math.PI);
}

/**
 * The x that a standard normal variable stays below with chance p.
 *
 * Start by Abramowitz and Stegun 1964, equation 26.2.23, then Halley's steps down to rounding.
 */
export function normalQuantile(p: number): number {
  if (p <= 0) return Number.NEGATIVE_INFINITY;
  if (p >= 1) return Number.POSITIVE_INFINITY;
  if (p > 0.5) return -normalQuantile(1 - p);
  if (p === 0.5) return 0;
  const t = Math.sqrt(-2 * Math.log(p));
  let x = (2.515517 + t * (0.802853 + t * 0.010328)) / (1 + t * (1.432788 + t * (0.189269 + t * 0.001308))) - t;
  for (let i = 0; i < 4; i++) {
    const step = (normalUpper(-x) - p) / normalDensity(x);
    x -= step / (1 + (x * step) / 2);
  }
  return x;
}
