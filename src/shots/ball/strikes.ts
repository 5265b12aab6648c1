import type { ImuBlock } from '../../foundation/imu-block.ts';
import { add, norm, type Vec3, vecAt } from '../../signal/vec3.ts';
import type { Surroundings } from './flight-study.ts';

/** Left over beyond this, m/s², and this many times the median of a flight, for at most this share of it: a strike, not the fit. */
const strike = { leastMps2: 0.4, ofMedian: 6, mostShare: 0.2 } as const;

/**
 * Finds ticks of something loose and brushes within a flight, which would pull at its fit.
 *
 * @param start first sample of the flight and one past its last, within the block.
 * @returns 1 for each sample of the block that shows one; null where none or too many do.
 */
export function detectStrikes(block: ImuBlock, around: Surroundings, start: number, end: number): Uint8Array | null {
  const from = start - around.first;
  const to = Math.min(end - around.first, around.timeS.length);
  const sorted = around.sizeMps2.slice(from, to).sort();
  const limit = Math.max(strike.leastMps2, strike.ofMedian * (sorted[sorted.length >> 1] ?? Number.POSITIVE_INFINITY));
  const struck = new Uint8Array(block.length);
  let count = 0;
  for (let i = from; i < to; i++) {
    if ((around.sizeMps2[i] as number) <= limit) continue;
    struck[around.first + i] = 1;
    count++;
  }
  return count > 0 && count < strike.mostShare * (to - from) ? struck : null;
}

/** What brushes the ball pushes one way for some samples; what ticks inside swings to and fro. */
const brush = { leastSamples: 5, ofSizes: 0.75 } as const;

/** @returns whether the force from a sample on, as long as it stays above the threshold, pushes one way. */
export function pushesOneWay({ sizeMps2, forceMps2 }: Surroundings, from: number, thresholdMps2: number): boolean {
  let sum: Vec3 = [0, 0, 0];
  let sizes = 0;
  let count = 0;
  for (let i = from; i < sizeMps2.length && (sizeMps2[i] as number) > thresholdMps2; i++) {
    sum = add(sum, vecAt(forceMps2, i));
    sizes += sizeMps2[i] as number;
    count++;
  }
  return count >= brush.leastSamples && norm(sum) > brush.ofSizes * sizes;
}
