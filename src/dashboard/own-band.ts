import type { ShotDocument } from '../server/wire/live-document.ts';
import type { ShotMeasureName } from '../server/wire/shot-document.ts';

/** Shots that make the band. */
const bandShotCount = 50;
/** Fewer tell too little of a player's spread. */
export const leastShotCount = 10;
/** Of a normal distribution the standard deviation over the median absolute deviation: 1 / Φ⁻¹(3/4). */
const madScale = 1.482602218505602;

/** Where the player's own shots lie. */
export interface OwnBand {
  readonly middle: number;
  readonly low: number;
  readonly high: number;
  /** Shots that it was made of. */
  readonly count: number;
}

export type BandPlace = 'inside' | 'above' | 'below' | 'unsure';

/**
 * The player's usual range: median ± median absolute deviation, scaled to a standard deviation, of the last shots. Two
 * of three shots lie inside.
 *
 * @param shots newest first, the one to be judged not among them.
 * @returns null while there are too few shots with the measure.
 */
export function ownBand(shots: readonly ShotDocument[], name: ShotMeasureName): OwnBand | null {
  const values = shots
    .filter(({ shot }) => shot.stage === 'final')
    .slice(0, bandShotCount)
    .flatMap(({ shot }) => shot.measures[name].value ?? []);
  if (values.length < leastShotCount) return null;
  const middle = median(values);
  const spread = madScale * median(values.map((value) => Math.abs(value - middle)));
  return { middle, low: middle - spread, high: middle + spread, count: values.length };
}

/**
 * @param standardError of the value: where the sensor cannot tell inside from outside, nothing is claimed.
 */
export function placeIn(band: OwnBand, value: number, standardError: number): BandPlace {
  const toEdge = Math.min(Math.abs(value - band.low), Math.abs(value - band.high));
  if (toEdge < standardError) return 'unsure';
  if (value > band.high) return 'above';
  return value < band.low ? 'below' : 'inside';
}

function median(values: readonly number[]): number {
  const sorted = values.toSorted((one, other) => one - other);
  const half = sorted.length >> 1;
  const upper = sorted[half] as number;
  return sorted.length % 2 === 1 ? upper : (upper + (sorted[half - 1] as number)) / 2;
}
