import type { ImuBlock } from '../../foundation/imu-block.ts';
import { add, dot, norm, type Vec3, vecAt } from '../../signal/vec3.ts';
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

/**
 * A brush of the net from beside takes a few samples and hardly any speed. What tells it from a tick: it comes on the way down, lasts
 * longer than a tick's swing, s, brakes (cosine of its force to the way), and is the first of its kind since this long after the start, s:
 * what ticks once ticks often.
 */
const graze = { leastSamples: 2, lastsS: 0.008, brakes: -0.25, fallingMps: 1, handS: 0.1 } as const;

/**
 * @param up vertical in the frame of the surroundings.
 * @param start first sample of the flight within the surroundings.
 * @returns whether the force from a sample on is that of a net brushed in passing.
 */
export function grazesNet(around: Surroundings, from: number, thresholdMps2: number, up: Vec3, start: number): boolean {
  const { timeS, sizeMps2, forceMps2, velocityMps } = around;
  const velocity = vecAt(velocityMps, from);
  if (dot(velocity, up) > -graze.fallingMps) return false;
  let sum: Vec3 = [0, 0, 0];
  let sizes = 0;
  let i = from;
  for (; i < sizeMps2.length && (sizeMps2[i] as number) > thresholdMps2; i++) {
    sum = add(sum, vecAt(forceMps2, i));
    sizes += sizeMps2[i] as number;
  }
  if (i >= sizeMps2.length || i - from < graze.leastSamples) return false;
  if ((timeS[i] as number) - (timeS[from] as number) < graze.lastsS || norm(sum) < brush.ofSizes * sizes) return false;
  if (dot(sum, velocity) > graze.brakes * norm(sum) * norm(velocity)) return false;
  for (let j = from - 1; j > start && (timeS[j] as number) > (timeS[start] as number) + graze.handS; j--) {
    if ((sizeMps2[j] as number) > thresholdMps2) return false;
  }
  return true;
}
