import { standardGravityMps2 } from '../../foundation/constants.ts';

/**
 * Recognises the end of a sensor's range from the values alone, for recordings that do not state it. Either
 * - the extreme lies at the end of a common range (a single hard impact clips one sample only), or
 * - exactly one extreme value comes again and again and hardly ever a value just below it: a signal that turns back
 *   by itself passes the last 5 % below its extreme more often than it hits the extreme.
 * A level below the smallest common range is never taken for its end, so that a coarse sensor at rest is not.
 */

/** Values on one side of one axis that are this close to the extreme count as "just below". */
const nearShare = 0.95;
/** Fewest hits of exactly the extreme; two impacts can give the same value by chance in a coarse recording. */
const fewestHits = 3;
/** An extreme this close to the end of a common range is taken for it: three counts of an int16 in 2^15, rounded up. */
const rangeTolerance = 0.0005;

/** The axes of a sensor have one range; calibration moves their ends apart by less than this. */
const sameRangeShare = 0.9;

const degToRad = Math.PI / 180;

/** What a kind of sensor can have as range. */
interface CommonRanges {
  readonly lowestLevel: number;
  readonly ends: readonly number[];
}

/**
 * Ends of common ranges, SI. The second factor is 32767 counts of the scale that some chips state: 0.061 mg a count at
 * 2 g (LSM6DSV data sheet, table of mechanical characteristics), 4.375 m°/s a count at 125 °/s.
 */
export const commonRanges: Readonly<Record<'accelMps2' | 'gyroRadps', CommonRanges>> = {
  accelMps2: {
    lowestLevel: 1.9 * standardGravityMps2,
    ends: [2, 4, 8, 16, 32].flatMap((range) =>
      [1, (0.061e-3 * 32767) / 2].map((factor) => factor * range * standardGravityMps2),
    ),
  },
  gyroRadps: {
    lowestLevel: 120 * degToRad,
    ends: [125, 250, 500, 1000, 2000, 4000].flatMap((range) =>
      [1, (4.375e-3 * 32767) / 125].map((factor) => factor * range * degToRad),
    ),
  },
};

/** The extreme of one side (+ or −) of one axis. Magnitudes, in SI. */
interface Side {
  level: number;
  hits: number;
  near: number;
}

/** Takes samples of one three-axis sensor and finds the level at which each axis clips. */
export class ClipLevelFinder {
  readonly #ranges: CommonRanges;
  /** +x −x +y −y +z −z */
  readonly #sides: Side[] = Array.from({ length: 6 }, () => ({ level: 0, hits: 0, near: 0 }));

  /** @param ranges one of `commonRanges`. */
  constructor(ranges: CommonRanges) {
    this.#ranges = ranges;
  }

  /** @param values interleaved x y z, SI, at least 3 × length values. */
  add(values: Float64Array, length: number): void {
    for (let i = 0; i < 3 * length; i++) {
      const value = values[i] as number;
      const side = this.#sides[2 * (i % 3) + (value < 0 ? 1 : 0)] as Side;
      const size = Math.abs(value);
      if (size > side.level) {
        side.near = side.level >= nearShare * size ? side.near + side.hits : 0;
        side.level = size;
        side.hits = 1;
      } else if (size === side.level) side.hits += 1;
      else if (size >= nearShare * side.level) side.near += 1;
    }
  }

  /** @returns the clip level of each side, +x −x +y −y +z −z, SI magnitudes, Infinity where none was recognised. */
  levels(): Float64Array {
    const { lowestLevel, ends } = this.#ranges;
    const highest = Math.max(...this.#sides.map(({ level }) => level));
    return Float64Array.from(this.#sides, ({ level, hits, near }) => {
      const isRepeated = level >= lowestLevel && hits >= fewestHits && hits > near;
      const isRangeEnd = ends.some((end) => Math.abs(level / end - 1) <= rangeTolerance);
      return (isRepeated || isRangeEnd) && level >= sameRangeShare * highest ? level : Number.POSITIVE_INFINITY;
    });
  }
}

/** @returns whether any axis of the sample that starts at `at` is at its clip level. */
export function isClipped(values: Float64Array, at: number, levels: Float64Array): boolean {
  for (let k = 0; k < 3; k++) {
    const value = values[at + k] as number;
    if (Math.abs(value) >= (levels[2 * k + (value < 0 ? 1 : 0)] as number)) return true;
  }
  return false;
}
