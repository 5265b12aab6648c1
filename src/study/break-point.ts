import { type Insufficient, insufficient, requireBetween, requireFinite, requireSameLength } from './checks.ts';
import { fQuantile } from './f-distribution.ts';
import type { Interval } from './proportion-interval.ts';
import { type RandomSource, shuffle } from './random-source.ts';

export interface BreakPoint {
  readonly kind: 'break';
  /** Place from which on the values leave their level, and the change of the value a unit of place beyond it. */
  readonly at: number;
  readonly interval: Interval;
  readonly slope: number;
  /** Level before the break. */
  readonly level: number;
  /** Chance of a break as plain if the order of the values meant nothing. */
  readonly p: number;
}

const fewestValues = 12;
const fewestPlaces = 3;
const candidates = 60;

/**
 * Where values that stay level begin to rise or fall: least squares of level + slope · max(0, x - at) over a grid of places; the
 * interval is the places whose fit is not worse than an F quantile allows (Seber and Wild 2003, Nonlinear Regression, chapter 9; from memory),
 * the p that of the largest gain in fit over rearrangements, which needs an order of places drawn at random.
 *
 * @param x places such as distances; @param y values beside them.
 * @returns the break, whether or not p is small; no break is claimed where p is large.
 */
export function findBreak(
  x: ArrayLike<number>,
  y: ArrayLike<number>,
  random: RandomSource,
  { confidence = 0.95, draws = 999 } = {},
): BreakPoint | Insufficient {
  requireSameLength('places and values', x, y);
  requireFinite('places', x);
  requireFinite('values', y);
  requireBetween('confidence', confidence, 0, 1);
  const n = x.length;
  const places = [...new Set(Array.from(x))].sort((a, b) => a - b);
  if (n < fewestValues || places.length < fewestPlaces) {
    return insufficient(`a break needs ${fewestValues} values at ${fewestPlaces} places or more`);
  }
  const first = places[0]!;
  // A break at the last place has nothing beyond it to show.
  const last = places[places.length - 2]!;
  const grid = Array.from({ length: candidates + 1 }, (_, i) => {
    const at = first + ((last - first) * i) / candidates;
    let mean = 0;
    for (let k = 0; k < n; k++) mean += Math.max(0, x[k]! - at) / n;
    const columns = Float64Array.from({ length: n }, (_, k) => Math.max(0, x[k]! - at) - mean);
    let squares = 0;
    for (const value of columns) squares += value * value;
    return { at, mean, columns, squares };
  });
  const values = Float64Array.from(y);
  let level = 0;
  for (const value of values) level += value / n;
  let total = 0;
  for (const value of values) total += (value - level) ** 2;
  // What rounding leaves of equal values is no spread.
  if (!(total > n * (1e-12 * level) ** 2)) return insufficient('all values are the same');
  const gainOf = ({ columns, squares }: (typeof grid)[number], of: Float64Array) => {
    let across = 0;
    for (let k = 0; k < n; k++) across += columns[k]! * of[k]!;
    return (across * across) / squares;
  };
  const gains = grid.map((point) => gainOf(point, values));
  const most = Math.max(...gains);
  const best = grid[gains.indexOf(most)]!;
  const rest = total - most;
  const allowed = rest * (1 + fQuantile(confidence, 1, n - 3) / (n - 3));
  const inside = grid.filter((_, i) => total - gains[i]! <= allowed).map(({ at }) => at);
  let asPlain = 1;
  const shuffled = [...values];
  for (let draw = 0; draw < draws; draw++) {
    const rearranged = Float64Array.from(shuffle(shuffled, random));
    if (grid.some((point) => gainOf(point, rearranged) >= most * (1 - 1e-12))) asPlain++;
  }
  let across = 0;
  for (let k = 0; k < n; k++) across += best.columns[k]! * values[k]!;
  const slope = across / best.squares;
  return Object.freeze({
    kind: 'break',
    at: best.at,
    interval: [Math.min(...inside), Math.max(...inside)] as const,
    slope,
    level: level - slope * best.mean,
    p: asPlain / (draws + 1),
  });
}
