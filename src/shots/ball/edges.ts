import { sampleFlag } from '../../foundation/imu-block.ts';
import type { NullReason } from '../../foundation/measured.ts';

/** Where a force begins or ends, to below one sample. */
export type Edge =
  | {
      readonly timeS: number;
      readonly standardErrorS: number;
      /** Sample outside the flight, next to the edge. */
      readonly outside: number;
    }
  | { readonly timeS: null; readonly reason: NullReason; readonly outside: number };

export const edgeParameters = {
  /** m/s²; the hand's or ring's force per unit mass that counts as touch. */
  touchMps2: 0.5,
  /** Multiples of the noise below which nothing counts as touch. */
  noiseFactor: 5,
  /** A step this much longer than the usual one is a gap. */
  gapRatio: 1.6,
} as const;

/**
 * Finds the edge of a force that is absent inside a flight, from a sample surely inside it outward.
 *
 * Between the last sample above the threshold and its neighbour the force is taken to run out in a straight line or as a
 * parabola, whichever the samples further out suggest; the mean of both is given and their difference enters the error.
 *
 * @param timeS instants, s.
 * @param forceMps2 size of the force per unit mass, m/s².
 * @param flags sample flags.
 * @param inside index of a sample surely in flight.
 * @param direction −1 looks for the end of the force before the flight, +1 for its beginning after it.
 * @param noiseMps2 noise of one value of the force.
 * @param stepS usual sample interval.
 * @returns the edge, or null when the array ends first.
 */
export function locateEdge(
  timeS: Float64Array,
  forceMps2: Float64Array,
  flags: Uint8Array,
  inside: number,
  direction: 1 | -1,
  noiseMps2: number,
  stepS: number,
): Edge | null {
  const p = edgeParameters;
  const threshold = Math.max(p.touchMps2, p.noiseFactor * noiseMps2);
  const value = (i: number) => forceMps2[i] as number;
  let i = inside;
  for (; i >= 0 && i < forceMps2.length; i += direction) {
    if (value(i) <= threshold) continue;
    const next = i + direction;
    // One stray sample is no touch: the next one out must be above as well, unless the array ends.
    if (value(i) > 4 * threshold || next < 0 || next >= forceMps2.length || value(next) > threshold) break;
  }
  if (i < 0 || i >= forceMps2.length) return null;
  const inner = i - direction;
  if (inner < 0 || inner >= forceMps2.length) return null;
  const tOut = timeS[i] as number;
  const tIn = timeS[inner] as number;
  const interval = Math.abs(tIn - tOut);
  if (interval > p.gapRatio * stepS && ((flags[Math.max(i, inner)] as number) & sampleFlag.gapBefore) !== 0) {
    return { timeS: null, reason: 'gap', outside: i };
  }
  const further = i + direction;
  const e0 = value(i);
  const known = further >= 0 && further < forceMps2.length;
  const e1 = known ? value(further) : e0;
  const span = known ? Math.abs(tOut - (timeS[further] as number)) : stepS;
  const reach = interval;
  let straight: number;
  let bent: number;
  if (e1 > e0) {
    straight = (span * e0) / (e1 - e0) - (span * threshold) / (e1 - e0);
    const root = Math.sqrt(e1) - Math.sqrt(e0);
    bent = (span * (Math.sqrt(e0) - Math.sqrt(threshold))) / root;
  } else {
    // The force peaks within two samples: a pulse about as long as that, its edge from the balance of the two.
    straight = (span * e0) / (e0 + e1);
    bent = straight;
  }
  const clamp = (x: number) => Math.min(reach, Math.max(0, x));
  const into = (clamp(straight) + clamp(bent)) / 2;
  const doubt = Math.abs(clamp(straight) - clamp(bent)) / 2;
  const slope = Math.max(e0 / Math.max(into, 0.1 * interval), 1);
  const standardErrorS = Math.sqrt((0.16 * interval) ** 2 + doubt * doubt + (noiseMps2 / slope) ** 2);
  return { timeS: tOut - direction * into, standardErrorS, outside: i };
}
