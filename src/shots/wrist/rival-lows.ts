import { type Motion, unknownCount } from './path-motion.ts';
import type { Strapdown } from './strapdown.ts';

/** Height that skin and strap add at a low point, m; and what a place may be off in a level stretch without being another low. */
const skinM = { low: 0.012, level: 0.004 } as const;
/** Lows are parted by a rise of this much, m. */
const partedM = 0.01;

interface Low {
  readonly at: number;
  readonly heightM: number;
}

/** The motion of the wrist, and at each one-sigma shift of the path. */
export interface RivalPaths {
  readonly path: Strapdown;
  readonly motion: Motion;
  readonly shifted: (k: number) => Motion;
}

/**
 * How far off the last instant of the lowest height may be, since another low point is nearly as low, or the low is long and level.
 *
 * Low points are weighed by how likely each is the lowest: their difference in height against what is not known of it on the
 * path and by the swing of the skin.
 *
 * @param from first sample, the pickup.
 * @param to last sample, the release.
 * @param toleranceM height within which the lift counts as begun not yet.
 * @returns standard deviation, s.
 */
export function rivalLowsS(
  { path, motion, shifted: shiftedBy }: RivalPaths,
  from: number,
  to: number,
  liftS: number,
  toleranceM: number,
): number {
  const height = (i: number): number => motion.heightM(i);
  const lows = findLows(from, to, height);
  const lowest = lows.reduce((least, low) => (low.heightM < least.heightM ? low : least), lows[0] as Low);
  const lowestAt = lows.indexOf(lowest);
  const shiftedM: number[][] = [];
  for (let k = 0; k < unknownCount && lows.length > 1; k++) {
    const other = shiftedBy(k);
    shiftedM.push(lows.map(({ at }) => other.heightM(at)));
  }
  let [sum, square] = [0, 0];
  for (const [at, low] of lows.entries()) {
    const above = low.heightM - lowest.heightM;
    let variance = 2 * skinM.low ** 2;
    for (const heights of shiftedM) {
      variance += ((heights[at] as number) - (heights[lowestAt] as number) - above) ** 2;
    }
    const weight = Math.exp((-0.5 * above * above) / variance);
    sum += weight;
    if (low !== lowest) square += weight * (path.timeOf(low.at) - path.timeOf(lowest.at)) ** 2;
  }
  // A level low: a little more or less height moves its end.
  const end = (heightM: number): number => {
    for (let i = to; i > from; i--) if (height(i) <= heightM) return path.timeOf(i);
    return path.timeOf(from);
  };
  const later = end(lowest.heightM + toleranceM + skinM.level) - liftS;
  const sooner = liftS - end(lowest.heightM + Math.max(0, toleranceM - skinM.level));
  return Math.hypot(Math.sqrt(square / sum), (Math.max(0, later) + Math.max(0, sooner)) / 2);
}

/** @returns low points between two samples, ends included, each parted from the next by a rise. */
function findLows(from: number, to: number, height: (i: number) => number): Low[] {
  const lows: Low[] = [];
  let low: Low = { at: from, heightM: height(from) };
  let top = low.heightM;
  let falling = true;
  for (let i = from; i <= to; i++) {
    const heightM = height(i);
    if (falling) {
      if (heightM < low.heightM) low = { at: i, heightM };
      else if (heightM > low.heightM + partedM) {
        lows.push(low);
        falling = false;
        top = heightM;
      }
    } else {
      top = Math.max(top, heightM);
      if (heightM < top - partedM) {
        falling = true;
        low = { at: i, heightM };
      }
    }
  }
  if (falling) lows.push(low);
  return lows;
}
