import { regularizedBeta } from './beta-function.ts';
import { requireWhole, requireWithin } from './checks.ts';
import { logGamma } from './gamma-function.ts';

/** @returns log of the number of ways to choose k of n. */
export function logChoose(n: number, k: number): number {
  return logGamma(n + 1) - logGamma(k + 1) - logGamma(n - k + 1);
}

/** @returns the chance of exactly k successes in n tries of chance p. */
export function binomialChance(k: number, n: number, p: number): number {
  check(k, n, p);
  if (p === 0) return k === 0 ? 1 : 0;
  if (p === 1) return k === n ? 1 : 0;
  return Math.exp(logChoose(n, k) + k * Math.log(p) + (n - k) * Math.log1p(-p));
}

/** @returns the chance of k successes or fewer in n tries of chance p. */
export function binomialAtMost(k: number, n: number, p: number): number {
  check(k, n, p);
  return k === n ? 1 : regularizedBeta(1 - p, n - k, k + 1);
}

/** @returns the chance of k successes or more in n tries of chance p. */
export function binomialAtLeast(k: number, n: number, p: number): number {
  check(k, n, p);
  return k === 0 ? 1 : regularizedBeta(p, k, n - k + 1);
}

function check(k: number, n: number, p: number): void {
  requireWhole('tries', n);
  requireWhole('successes', k, 0, n);
  requireWithin('chance', p, 0, 1);
}
