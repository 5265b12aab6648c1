/** One way that an instant may have been: a time, how likely, and its own standard deviation. */
export interface Way {
  readonly timeS: number;
  readonly share: number;
  readonly sdS: number;
  /** Whether the ball was in the hands long before then. */
  readonly held: boolean;
}

const normal90 = 1.6448536269514722;
const longestDoubtS = 4;

/**
 * @returns standard error of an instant that was told as `atS` and may have been elsewhere: its root mean square, or half of the interval about it
 *   that holds it with 90 % over 1.645 where that is more. So neither a rival nor the usual case lies outside of what is said.
 */
export function errorOf(ways: readonly Way[], atS: number): number {
  let [all, square] = [0, 0];
  for (const { timeS, share, sdS } of ways) {
    all += share;
    square += share * ((timeS - atS) ** 2 + sdS * sdS);
  }
  const within = (halfS: number): number =>
    ways.reduce((sum, { timeS, share, sdS }) => {
      const off = timeS - atS;
      return sum + share * (normalShare((off + halfS) / sdS) - normalShare((off - halfS) / sdS));
    }, 0) / all;
  const halfS = bisect((s) => within(s) - 0.9, 0, longestDoubtS);
  return Math.max(Math.sqrt(square / all), halfS / normal90);
}

/** @returns time that the instant comes before with this probability, when each way is off by `moreS` besides. */
export function quantileOf(ways: readonly Way[], probability: number, moreS = 0): number {
  const all = ways.reduce((sum, { share }) => sum + share, 0);
  const before = (timeS: number): number =>
    ways.reduce((sum, way) => sum + way.share * normalShare((timeS - way.timeS) / Math.hypot(way.sdS, moreS)), 0) / all;
  const times = ways.map(({ timeS }) => timeS);
  const aroundS = 5 * Math.hypot(moreS, ...ways.map(({ sdS }) => sdS));
  return bisect((s) => before(s) - probability, Math.min(...times) - aroundS, Math.max(...times) + aroundS);
}

/** @returns where a rising function crosses nought. */
function bisect(of: (x: number) => number, from: number, to: number): number {
  let [low, high] = [from, to];
  for (let round = 0; round < 40; round++) {
    const middle = (low + high) / 2;
    if (of(middle) < 0) low = middle;
    else high = middle;
  }
  return high;
}

/** Ways this close say the same, s; those less likely than this say nothing. */
const alikeS = 0.03;
const leastShare = 0.004;

/** @returns the same ways, those that are close together as one, the likelier first; their shares sum to 1. */
export function gatherWays(ways: readonly Way[]): Way[] {
  const sorted = ways.filter(({ share }) => share > 0).sort((a, b) => a.timeS - b.timeS);
  const gathered: Way[] = [];
  for (const way of sorted) {
    const last = gathered[gathered.length - 1];
    if (last && last.held === way.held && way.timeS - last.timeS < alikeS)
      gathered[gathered.length - 1] = both(last, way);
    else gathered.push(way);
  }
  const all = gathered.reduce((sum, { share }) => sum + share, 0);
  const told = gathered.filter(({ share }) => share >= leastShare * all);
  const left = told.reduce((sum, { share }) => sum + share, 0);
  return told.map((way) => ({ ...way, share: way.share / left })).sort((a, b) => b.share - a.share);
}

function both(a: Way, b: Way): Way {
  const share = a.share + b.share;
  const timeS = (a.share * a.timeS + b.share * b.timeS) / share;
  const square = (way: Way): number => way.share * (way.sdS ** 2 + (way.timeS - timeS) ** 2);
  return { timeS, share, sdS: Math.sqrt((square(a) + square(b)) / share), held: a.held };
}

/** Share of a normal distribution below `z` (Abramowitz and Stegun 1964, 26.2.17, error below 1e-7). */
function normalShare(z: number): number {
  const t = 1 / (1 + 0.2316419 * Math.abs(z));
  const series = t * (0.31938153 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))));
  const tail = (Math.exp((-z * z) / 2) / Math.sqrt(2 * Math.PI)) * series;
  return z > 0 ? 1 - tail : tail;
}
