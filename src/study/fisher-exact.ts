import { logChoose } from './binomial-distribution.ts';
import { requireWhole } from './checks.ts';

export interface FisherResult {
  /** All tables as unlikely as this one or more. */
  readonly pTwoSided: number;
  /** This table and those with more in the first cell. */
  readonly pGreater: number;
  readonly pLess: number;
  /** Cross ratio of the table as counted; infinite where the other diagonal has a zero, null where both have. */
  readonly oddsRatio: number | null;
}

/**
 * Fisher's exact test of a table of two rows and two columns (Fisher 1935, The Design of Experiments, chapter 2; from memory), by
 * hypergeometric chances in logarithms. Two-sided as in R: the sum over all tables not more likely than this one, with a
 * relative tolerance of 1e-7 for ties.
 *
 * @param first row: two counts; @param second row: two counts.
 */
export function fisherExact(first: readonly [number, number], second: readonly [number, number]): FisherResult {
  for (const count of [...first, ...second]) requireWhole('count', count);
  const [a, b] = first;
  const [c, d] = second;
  const row = a + b;
  const column = a + c;
  const all = a + b + c + d;
  const low = Math.max(0, column - (all - row));
  const high = Math.min(row, column);
  const whole = logChoose(all, column);
  const chance = (x: number) => Math.exp(logChoose(row, x) + logChoose(all - row, column - x) - whole);
  const here = chance(a);
  let [pTwoSided, pGreater, pLess] = [0, 0, 0];
  for (let x = low; x <= high; x++) {
    const p = chance(x);
    if (p <= here * (1 + 1e-7)) pTwoSided += p;
    if (x >= a) pGreater += p;
    if (x <= a) pLess += p;
  }
  const oddsRatio = b * c === 0 ? (a * d === 0 ? null : Number.POSITIVE_INFINITY) : (a * d) / (b * c);
  const capped = (p: number) => Math.min(1, p);
  return { pTwoSided: capped(pTwoSided), pGreater: capped(pGreater), pLess: capped(pLess), oddsRatio };
}
