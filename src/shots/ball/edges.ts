import { sampleFlag } from '../../foundation/imu-block.ts';
import type { NullReason } from '../../foundation/measured.ts';
import { estimateEdge } from './edge-shapes.ts';

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
  /** m/s²; no tick inside the ball is this hard. */
  surelyMps2: 40,
  /** s; a touch lasts at least about this long. */
  lastsS: 0.02,
  /** Multiples of the noise below which nothing counts as touch. */
  noiseFactor: 5,
  /** A step this much longer than the usual one is a gap. */
  gapRatio: 1.6,
  /** m/s²; a force this large is a blow, whose end may follow within a few samples. */
  blowMps2: 90,
  /** s; whoever holds a ball does not let it fly this long, within so long, before letting it go. */
  freeBeforeS: 0.05,
  heldS: 0.12,
  /** Samples looked at on the side of the force and on the side of the flight. */
  touchedSamples: 3,
  freeSamples: 4,
} as const;

/** Samples among which an edge is looked for. */
export interface EdgeSeries {
  readonly timeS: Float64Array;
  /** Size of the force per unit mass, m/s². */
  readonly forceMps2: Float64Array;
  readonly flags: Uint8Array;
  readonly noiseMps2: number;
  readonly stepS: number;
  readonly filterDelayS: number;
  /** Whether it is a hand that meets the ball: it may push hard and yet not at once. */
  readonly byHand?: boolean;
  /** Whether the ball turns otherwise after sample `i` than before: a graze does that, a tick inside the ball does not. */
  readonly turns?: (i: number) => boolean;
  /** Whether the force from sample `i` on pushes one way, as a brush does and a tick does not. */
  readonly pushes?: (i: number) => boolean;
  /** Whether a touch must have come between these two samples, since the ball turns otherwise. */
  readonly jumps?: (a: number, b: number) => boolean;
}

/** Whether the force stays above the threshold for most of the time after its edge: a tick inside the ball does not. */
function lasts(series: EdgeSeries, edge: number, direction: 1 | -1, threshold: number): boolean {
  const { timeS, forceMps2 } = series;
  const t0 = timeS[edge] as number;
  let above = 0;
  let count = 0;
  for (let i = edge; i >= 0 && i < forceMps2.length; i += direction) {
    if (Math.abs((timeS[i] as number) - t0) > edgeParameters.lastsS && count > 1) break;
    count++;
    if ((forceMps2[i] as number) > threshold) above++;
  }
  return above > 0.7 * count;
}

/** A sample outside a flight next to its edge, whose instant is not sharpened yet. */
export interface RoughEdge {
  readonly outside: number;
}

/**
 * Whether the ball flew the same flight on the far side of a force: then something ticked, and nobody held it. It takes the gyroscope
 * to tell that flight from another one.
 */
function freeBeyond({ timeS, forceMps2 }: EdgeSeries, edge: number, direction: 1 | -1, threshold: number): boolean {
  const t0 = timeS[edge] as number;
  let freeS = t0;
  for (let i = edge; i >= 0 && i < forceMps2.length; i += direction) {
    const t = timeS[i] as number;
    if (Math.abs(t - t0) > edgeParameters.heldS) return false;
    if ((forceMps2[i] as number) > threshold) freeS = t;
    else if (Math.abs(t - freeS) > edgeParameters.freeBeforeS) return true;
  }
  return false;
}

/**
 * Finds the edge of a force that is absent inside a flight, from a sample surely inside it outward.
 *
 * @param inside index of a sample surely in flight.
 * @param direction −1 looks for the end of the force before the flight, +1 for its beginning after it.
 * @returns the edge, on the sensor's delayed time, or null when the series ends first.
 */
export function locateEdge(series: EdgeSeries, inside: number, direction: 1 | -1): Edge | null {
  const rough = findEdge(series, inside, direction);
  return rough && sharpenEdge(series, rough, direction);
}

/** @returns where the edge is to the sample; see `locateEdge`. */
export function findEdge(series: EdgeSeries, inside: number, direction: 1 | -1): RoughEdge | null {
  const p = edgeParameters;
  const { timeS, forceMps2, noiseMps2, stepS } = series;
  const threshold = Math.max(p.touchMps2, p.noiseFactor * noiseMps2);
  const value = (i: number) => forceMps2[i] as number;
  const isGap = (k: number) => {
    const inner = k - direction;
    return Math.abs((timeS[k] as number) - (timeS[inner] as number)) > p.gapRatio * stepS;
  };
  let i = inside;
  for (; i >= 0 && i < forceMps2.length; i += direction) {
    if (value(i) <= threshold) {
      // A touch that fell into a gap may show by nothing but another spin.
      if (i !== inside && isGap(i) && series.jumps?.(i - direction, i)) break;
      continue;
    }
    if (direction === -1 && series.turns && freeBeyond(series, i, direction, threshold)) continue;
    if (value(i) > p.surelyMps2 || lasts(series, i, direction, threshold) || series.turns?.(i)) break;
    if (direction === 1 && series.pushes?.(i)) break;
  }
  const inner = i - direction;
  if (i < 0 || i >= forceMps2.length || inner < 0 || inner >= forceMps2.length) return null;
  return { outside: i };
}

/** @returns the edge with its instant. */
export function sharpenEdge(series: EdgeSeries, { outside: i }: RoughEdge, direction: 1 | -1): Edge {
  const p = edgeParameters;
  const { timeS, forceMps2, flags, noiseMps2, stepS } = series;
  const value = (k: number) => forceMps2[k] as number;
  const inner = i - direction;
  const tOut = timeS[i] as number;
  const tIn = timeS[inner] as number;
  const interval = Math.abs(tIn - tOut);
  if (interval > p.gapRatio * stepS && ((flags[Math.max(i, inner)] as number) & sampleFlag.gapBefore) !== 0) {
    return { timeS: null, reason: 'gap', outside: i };
  }
  // A force that ended goes on showing through the filter for about four delays: the samples before are needed, too.
  const tailS = direction === -1 ? 4 * series.filterDelayS : 0;
  const touched = p.touchedSamples + Math.ceil(tailS / stepS);
  const chosen: number[] = [];
  for (let k = -p.freeSamples; k < touched; k++) {
    const j = i + direction * k;
    if (j < 0 || j >= forceMps2.length) continue;
    // Past a gap or at the end of the range a sample says nothing of the shape.
    if (k > 0 && Math.abs((timeS[j] as number) - (timeS[j - direction] as number)) > p.gapRatio * stepS) break;
    if (((flags[j] as number) & sampleFlag.accelClipped) !== 0 && k > 0 && direction === -1) continue;
    // Past the peak of a blow a sample says how it ended, not when it began.
    if (k > 0 && direction === 1) {
      const before = chosen[chosen.length - 1] as number;
      const wasClipped = ((flags[before] as number) & sampleFlag.accelClipped) !== 0;
      if (wasClipped || (value(before) > p.blowMps2 && value(j) < value(before))) break;
    }
    chosen.push(j);
  }
  if (direction === -1) chosen.reverse();
  const found = estimateEdge(
    direction === 1 ? 'onset' : 'fade',
    {
      timeS: chosen.map((j) => timeS[j] as number),
      forceMps2: chosen.map((j) => Math.sqrt(Math.max(0, value(j) ** 2 - noiseMps2 ** 2))),
      atLeast: chosen.map((j) => direction === 1 && ((flags[j] as number) & sampleFlag.accelClipped) !== 0),
      noiseMps2,
      filterDelayS: series.filterDelayS,
      byHand: series.byHand === true,
    },
    Math.min(tIn, tOut) - 0.6 * stepS - tailS,
    Math.max(tIn, tOut) + 0.1 * stepS,
    stepS,
    p.touchMps2,
  );
  if (found) return { ...found, outside: i };
  return { timeS: (tIn + tOut) / 2, standardErrorS: interval / Math.sqrt(12), outside: i };
}
