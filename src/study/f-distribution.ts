import { betaQuantile, regularizedBeta } from './beta-function.ts';

/** @returns the chance that F with df1 and df2 degrees of freedom exceeds f. */
export function fUpper(f: number, df1: number, df2: number): number {
  if (f <= 0) return 1;
  return regularizedBeta(df2 / (df2 + df1 * f), df2 / 2, df1 / 2);
}

/** @returns the f that F with df1 and df2 degrees of freedom stays below with chance p. */
export function fQuantile(p: number, df1: number, df2: number): number {
  if (p <= 0) return 0;
  if (p >= 1) return Number.POSITIVE_INFINITY;
  // The smaller of the two shares keeps its digits.
  const share = betaQuantile(p, df1 / 2, df2 / 2);
  if (share < 0.5) return (df2 * share) / (df1 * (1 - share));
  const rest = betaQuantile(1 - p, df2 / 2, df1 / 2);
  return (df2 * (1 - rest)) / (df1 * rest);
}
