import { type Insufficient, isInsufficient, requireBetween } from './checks.ts';
import { normalQuantile, normalUpper } from './normal-distribution.ts';
import type { Interval } from './proportion-interval.ts';
import { studentCdf } from './student-t.ts';
import { differenceOf, type GroupSummary, welchTest } from './two-means.ts';

export interface EquivalenceResult {
  readonly kind: 'equivalence';
  readonly difference: number;
  /** Interval at 1 - 2 alpha: the two are the same within ± margin where it lies inside. */
  readonly interval: Interval;
  /** The larger of the two one-sided p-values. */
  readonly p: number;
  readonly same: boolean;
}

/** Two one-sided tests (Schuirmann 1987, J. Pharmacokinet. Biopharm. 15:657) on any difference with a t distribution. */
export function equivalenceOf(
  difference: number,
  standardError: number,
  df: number,
  margin: number,
  alpha = 0.05,
): EquivalenceResult {
  requireBetween('margin', margin, 0, Number.POSITIVE_INFINITY);
  requireBetween('alpha', alpha, 0, 0.5);
  const below = studentCdf((difference - margin) / standardError, df);
  const above = studentCdf((-difference - margin) / standardError, df);
  const p = Math.max(below, above);
  const { interval } = differenceOf(difference, standardError, df, 1 - 2 * alpha);
  return Object.freeze({ kind: 'equivalence', difference, interval, p, same: p <= alpha });
}

/** Whether two means are the same within ± margin, with unequal spreads. */
export function equivalentMeans(
  one: GroupSummary,
  two: GroupSummary,
  margin: number,
  alpha = 0.05,
): EquivalenceResult | Insufficient {
  const test = welchTest(one, two);
  return isInsufficient(test) ? test : equivalenceOf(test.difference, test.standardError, test.df, margin, alpha);
}

/**
 * Whether two proportions are the same within ± margin. Score test with the variance at the best estimate under each
 * border (Farrington and Manning 1990, Stat. Med. 9:1447; from memory).
 */
export function equivalentProportions(
  one: { readonly successes: number; readonly tries: number },
  two: { readonly successes: number; readonly tries: number },
  margin: number,
  alpha = 0.05,
): EquivalenceResult {
  requireBetween('margin', margin, 0, 1);
  requireBetween('alpha', alpha, 0, 0.5);
  const difference = one.successes / one.tries - two.successes / two.tries;
  const z = (border: number) => (difference - border) / scoreError(one, two, border);
  const p = Math.max(normalUpper(z(-margin)), normalUpper(-z(margin)));
  // The interval is the set of borders that the same score test does not refuse.
  const critical = normalQuantile(1 - alpha);
  const end = (sign: 1 | -1) => {
    let [inside, outside] = [difference, sign];
    for (let i = 0; i < 60; i++) {
      const middle = (inside + outside) / 2;
      if (Math.abs(z(middle)) <= critical) inside = middle;
      else outside = middle as 1 | -1;
    }
    return inside;
  };
  return Object.freeze({
    kind: 'equivalence',
    difference,
    interval: [end(-1), end(1)] as const,
    p,
    same: p <= alpha,
  });
}

/** Standard error of p1 - p2 at the restricted maximum likelihood where p1 - p2 = border (closed form of the cubic). */
function scoreError(
  one: { readonly successes: number; readonly tries: number },
  two: { readonly successes: number; readonly tries: number },
  border: number,
): number {
  const theta = two.tries / one.tries;
  const p1 = one.successes / one.tries;
  const p2 = two.successes / two.tries;
  const a = 1 + theta;
  const b = -(1 + theta + p1 + theta * p2 + border * (theta + 2));
  const c = border * border + border * (2 * p1 + theta + 1) + p1 + theta * p2;
  const d = -p1 * border * (1 + border);
  const v = (b / (3 * a)) ** 3 - (b * c) / (6 * a * a) + d / (2 * a);
  const u = (v < 0 ? -1 : 1) * Math.sqrt(Math.max(0, (b / (3 * a)) ** 2 - c / (3 * a)));
  const ratio = u === 0 ? 0 : Math.max(-1, Math.min(1, v / u ** 3));
  const w = (Math.PI + Math.acos(ratio)) / 3;
  const root1 = Math.max(0, Math.min(1, 2 * u * Math.cos(w) - b / (3 * a)));
  const root2 = Math.max(0, Math.min(1, root1 - border));
  const error = Math.sqrt((root1 * (1 - root1)) / one.tries + (root2 * (1 - root2)) / two.tries);
  return Math.max(error, 1e-12);
}
