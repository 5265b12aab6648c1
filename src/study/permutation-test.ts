import { logChoose } from './binomial-distribution.ts';
import { type Insufficient, insufficient, requireFinite, requireSameLength } from './checks.ts';
import { mean } from './descriptive.ts';
import { type RandomSource, shuffle } from './random-source.ts';

export interface PermutationResult {
  readonly kind: 'permutation';
  /** Difference of the means as it was, one less two. */
  readonly difference: number;
  /** Chance of a difference as large or larger, on the same side, if labels meant nothing. */
  readonly pGreater: number;
  readonly pTwoSided: number;
  /** All rearrangements counted, or a seeded random part of them. */
  readonly exact: boolean;
  /** Rearrangements looked at. */
  readonly rearrangements: number;
}

/** Differences within this share of the sum of all sizes count as tied: rounding must not decide. */
const tieShare = 1e-12;

export interface PermutationOptions {
  /** Rearrangements that are still counted one by one. */
  readonly exactUpTo?: number;
  /** Random rearrangements otherwise. */
  readonly draws?: number;
  readonly random: RandomSource;
}

const defaults = { exactUpTo: 200_000, draws: 20_000 };

/**
 * Difference of two means against all ways of dealing the values to the two groups (Pitman 1937; Efron and Tibshirani 1993, An
 * Introduction to the Bootstrap, chapter 15). Two-sided counts |difference|. The random form adds the observed
 * arrangement to its count (Phipson and Smyth 2010; from memory), so that p is never 0 and never too small.
 */
export function permutationTest(
  one: readonly number[],
  two: readonly number[],
  options: PermutationOptions,
): PermutationResult | Insufficient {
  requireFinite('one', one);
  requireFinite('two', two);
  if (one.length === 0 || two.length === 0) return insufficient('each group needs a value');
  const all = [...one, ...two];
  const n = all.length;
  const k = one.length;
  const observed = mean(one) - mean(two);
  const total = all.reduce((sum, value) => sum + value, 0);
  const tie = tieShare * all.reduce((sum, value) => sum + Math.abs(value), 0);
  const counter = new Counter(observed, tie);
  const see = (sumOne: number) => counter.see(sumOne / k - (total - sumOne) / (n - k));
  const { exactUpTo, draws } = { ...defaults, ...options };
  if (logChoose(n, k) <= Math.log(exactUpTo) + 1e-9) {
    everySubsetSum(all, k, see);
    return counter.result(true);
  }
  for (let draw = 0; draw < draws; draw++) {
    shuffle(all, options.random);
    let sum = 0;
    for (let i = 0; i < k; i++) sum += all[i]!;
    see(sum);
  }
  return counter.result(false);
}

/** Mean of paired differences, one less two, against all ways of swapping within pairs (Fisher 1935; from memory). */
export function pairedPermutationTest(
  one: readonly number[],
  two: readonly number[],
  options: PermutationOptions,
): PermutationResult | Insufficient {
  requireSameLength('pairs', one, two);
  const differences = one.map((value, i) => value - two[i]!);
  requireFinite('differences', differences);
  const n = differences.length;
  if (n === 0) return insufficient('there is no pair');
  const size = differences.reduce((sum, value) => sum + Math.abs(value), 0);
  const counter = new Counter(mean(differences), tieShare * size);
  const { exactUpTo, draws } = { ...defaults, ...options };
  if (n <= 30 && 2 ** n <= exactUpTo) {
    // Gray code: each arrangement differs from the one before by one sign.
    const signs = new Int8Array(n).fill(1);
    for (let index = 0; index < 2 ** n; index++) {
      let sum = 0;
      for (let i = 0; i < n; i++) sum += signs[i]! * differences[i]!;
      counter.see(sum / n);
      const flip = 31 - Math.clz32((index + 1) & -(index + 1));
      if (flip < n) signs[flip] = -signs[flip]! as 1 | -1;
    }
    return counter.result(true);
  }
  for (let draw = 0; draw < draws; draw++) {
    let sum = 0;
    for (let i = 0; i < n; i++) sum += options.random.unit() < 0.5 ? differences[i]! : -differences[i]!;
    counter.see(sum / n);
  }
  return counter.result(false);
}

class Counter {
  #greater = 0;
  #further = 0;
  #seen = 0;
  readonly #observed: number;
  readonly #tie: number;

  constructor(observed: number, tie: number) {
    this.#observed = observed;
    this.#tie = tie;
  }

  see(difference: number): void {
    this.#seen++;
    if (difference >= this.#observed - this.#tie) this.#greater++;
    if (Math.abs(difference) >= Math.abs(this.#observed) - this.#tie) this.#further++;
  }

  result(exact: boolean): PermutationResult {
    const own = exact ? 0 : 1;
    const share = (count: number) => (count + own) / (this.#seen + own);
    return Object.freeze({
      kind: 'permutation',
      difference: this.#observed,
      pGreater: share(this.#greater),
      pTwoSided: share(this.#further),
      exact,
      rearrangements: this.#seen,
    });
  }
}

/** Calls back with the sum of every subset of k values. */
function everySubsetSum(values: readonly number[], k: number, see: (sum: number) => void): void {
  const n = values.length;
  const walk = (from: number, left: number, sum: number): void => {
    if (left === 0) {
      see(sum);
      return;
    }
    for (let i = from; i <= n - left; i++) walk(i + 1, left - 1, sum + values[i]!);
  };
  walk(0, k, 0);
}
