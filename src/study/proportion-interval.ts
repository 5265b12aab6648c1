import { betaQuantile } from './beta-function.ts';
import { requireBetween, requireWhole } from './checks.ts';
import { normalQuantile } from './normal-distribution.ts';

/** An interval, both ends included. */
export type Interval = readonly [number, number];

/**
 * Score interval of a proportion (Wilson 1927, J. Am. Stat. Assoc. 22:209, without continuity correction; from memory).
 *
 * @param successes whole, at most `tries`; @param tries 1 or more; @param confidence such as 0.95.
 */
export function wilsonInterval(successes: number, tries: number, confidence = 0.95): Interval {
  check(successes, tries, confidence);
  const z = normalQuantile(0.5 + confidence / 2);
  const p = successes / tries;
  const square = z * z;
  const middle = (p + square / (2 * tries)) / (1 + square / tries);
  const half = (z / (1 + square / tries)) * Math.sqrt((p * (1 - p)) / tries + square / (4 * tries * tries));
  return [successes === 0 ? 0 : middle - half, successes === tries ? 1 : middle + half];
}

/** Exact interval of a proportion (Clopper and Pearson 1934, Biometrika 26:404; from memory). */
export function clopperPearsonInterval(successes: number, tries: number, confidence = 0.95): Interval {
  check(successes, tries, confidence);
  const tail = (1 - confidence) / 2;
  return [
    successes === 0 ? 0 : betaQuantile(tail, successes, tries - successes + 1),
    successes === tries ? 1 : betaQuantile(1 - tail, successes + 1, tries - successes),
  ];
}

/** Equal-tailed interval of the posterior with Jeffreys' prior, ends as in Brown, Cai and DasGupta 2001, Stat. Sci. 16:101. */
export function jeffreysInterval(successes: number, tries: number, confidence = 0.95): Interval {
  check(successes, tries, confidence);
  const tail = (1 - confidence) / 2;
  return [
    successes === 0 ? 0 : betaQuantile(tail, successes + 0.5, tries - successes + 0.5),
    successes === tries ? 1 : betaQuantile(1 - tail, successes + 0.5, tries - successes + 0.5),
  ];
}

/**
 * Interval of the difference of two independent proportions, one less two, from their score intervals (Newcombe 1998,
 * Stat. Med. 17:873, method 10).
 */
export function newcombeInterval(
  one: { readonly successes: number; readonly tries: number },
  two: { readonly successes: number; readonly tries: number },
  confidence = 0.95,
): Interval {
  const [low1, high1] = wilsonInterval(one.successes, one.tries, confidence);
  const [low2, high2] = wilsonInterval(two.successes, two.tries, confidence);
  const p1 = one.successes / one.tries;
  const p2 = two.successes / two.tries;
  const difference = p1 - p2;
  return [difference - Math.hypot(p1 - low1, high2 - p2), difference + Math.hypot(high1 - p1, p2 - low2)];
}

function check(successes: number, tries: number, confidence: number): void {
  requireWhole('tries', tries, 1);
  requireWhole('successes', successes, 0, tries);
  requireBetween('confidence', confidence, 0, 1);
}
