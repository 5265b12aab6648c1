import { requireWhole } from './checks.ts';
import { type RandomSource, shuffle } from './random-source.ts';

/**
 * Order of conditions in blocks over days, drawn at random and balanced over fatigue.
 *
 * Rows (days or players) are taken from a Latin square in which each condition stands in each place equally often and follows
 * each other one equally often (Williams 1949, Aust. J. Sci. Res. A 2:149; an odd number of conditions needs the square and
 * its mirror image). Names of conditions and order of rows are drawn anew for each run through the square.
 *
 * @param conditions number of conditions, 2 to 12; @param rows days or players.
 * @returns for each row the conditions, 0 to conditions - 1, in the order in which they are shot.
 */
export function drawBlockOrder(conditions: number, rows: number, random: RandomSource): number[][] {
  requireWhole('conditions', conditions, 2, 12);
  requireWhole('rows', rows, 1, 10_000);
  const square = williamsSquare(conditions);
  const order: number[][] = [];
  while (order.length < rows) {
    const names = shuffle(
      Array.from({ length: conditions }, (_, i) => i),
      random,
    );
    const run = shuffle(
      square.map((row) => row.map((place) => names[place]!)),
      random,
    );
    order.push(...run);
  }
  return order.slice(0, rows);
}

/** The rows of Williams' square: `conditions` of them when even, twice as many when odd. */
export function williamsSquare(conditions: number): number[][] {
  const first = Array.from({ length: conditions }, (_, i) =>
    i % 2 === 1 ? (i + 1) / 2 : (conditions - i / 2) % conditions,
  );
  const rows = Array.from({ length: conditions }, (_, shift) => first.map((value) => (value + shift) % conditions));
  return conditions % 2 === 0 ? rows : [...rows, ...rows.map((row) => [...row].reverse())];
}

/**
 * Order of conditions shot by shot or set by set within one day: in random stretches that each hold every condition `perStretch`
 * times, so that the counts never run apart.
 */
export function drawBalancedOrder(
  conditions: number,
  stretches: number,
  perStretch: number,
  random: RandomSource,
): number[] {
  requireWhole('conditions', conditions, 2, 12);
  requireWhole('stretches', stretches, 1, 100_000);
  requireWhole('perStretch', perStretch, 1, 1000);
  return Array.from({ length: stretches }, () =>
    shuffle(
      Array.from({ length: conditions * perStretch }, (_, i) => i % conditions),
      random,
    ),
  ).flat();
}

/** Labels that hide which condition is which: letters in random order, one a condition. */
export function drawBlindLabels(conditions: number, random: RandomSource): string[] {
  requireWhole('conditions', conditions, 2, 12);
  return shuffle([...'ABCDEFGHIJKL'].slice(0, conditions), random);
}
