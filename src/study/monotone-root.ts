/**
 * Finds x in [low, high] where an increasing function reaches a target: Newton's steps kept inside a shrinking bracket,
 * bisection where they leave it (Press et al. 2007, Numerical Recipes, section 9.4; from memory).
 *
 * @param slope derivative of `f`; where it is 0 or not finite the bracket is halved.
 * @returns x to about 1e-14 of the bracket's own scale.
 */
export function solveIncreasing(
  f: (x: number) => number,
  slope: (x: number) => number,
  target: number,
  low: number,
  high: number,
  start = (low + high) / 2,
): number {
  let [from, to, x] = [low, high, start];
  for (let i = 0; i < 200; i++) {
    const miss = f(x) - target;
    if (miss === 0) return x;
    if (miss > 0) to = x;
    else from = x;
    const step = x - miss / slope(x);
    const next = step > from && step < to ? step : (from + to) / 2;
    const moved = Math.abs(next - x);
    x = next;
    if (moved <= 1e-15 * Math.abs(x) || to - from <= 2e-16 * Math.max(Math.abs(from), Math.abs(to))) return x;
  }
  return x;
}
