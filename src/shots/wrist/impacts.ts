import type { ImuBlock } from '../../foundation/imu-block.ts';
import type { WristParams } from './wrist-params.ts';

/** A blow on the arm: the specific force leaves its own running mean for a moment. */
export interface Impact {
  /** Sample of the largest deviation, and where it began. */
  readonly peak: number;
  readonly start: number;
  readonly sizeMps2: number;
}

/**
 * Finds blows on the arm, a ball's or the floor's.
 *
 * A blow lasts 5 to 30 ms and rings for a while in skin and strap; movement of the arm itself is slower. So the deviation from
 * a running mean over `impactWindowS` is taken, against its own usual size in the window.
 */
export function findImpacts(block: ImuBlock, params: WristParams): Impact[] {
  const deviation = fastForce(block, params.impactWindowS);
  const usual = quantile(deviation, 0.5);
  const limit = Math.max(params.impactLeastMps2, params.impactTimesUsual * usual);
  const impacts: Impact[] = [];
  let peak = -1;
  let start = -1;
  for (let i = 0; i < block.length; i++) {
    const d = deviation[i] as number;
    if (d > limit) {
      if (start < 0) start = i;
      if (peak < 0 || d > (deviation[peak] as number)) peak = i;
      continue;
    }
    if (peak >= 0 && (block.timeS[i] as number) - (block.timeS[peak] as number) > params.impactApartS) {
      impacts.push(impactAt(deviation, start, peak, limit));
      peak = -1;
      start = -1;
    }
  }
  if (peak >= 0) impacts.push(impactAt(deviation, start, peak, limit));
  return impacts;
}

function impactAt(deviation: Float64Array, first: number, peak: number, limit: number): Impact {
  // It begins where the deviation first rises above a quarter of the limit.
  let start = first;
  while (start > 0 && (deviation[start - 1] as number) > 0.25 * limit && first - start < 3) start--;
  return { peak, start, sizeMps2: deviation[peak] as number };
}

/** @returns size of the specific force less its running mean, m/s², n values. */
export function fastForce(block: ImuBlock, windowS: number): Float64Array {
  const n = block.length;
  const { timeS, accelMps2 } = block;
  const out = new Float64Array(n);
  const sum = [0, 0, 0];
  let from = 0;
  let to = 0;
  for (let i = 0; i < n; i++) {
    const t = timeS[i] as number;
    while (to < n && (timeS[to] as number) <= t + windowS / 2) {
      for (let c = 0; c < 3; c++) sum[c] = (sum[c] as number) + (accelMps2[3 * to + c] as number);
      to++;
    }
    while ((timeS[from] as number) < t - windowS / 2) {
      for (let c = 0; c < 3; c++) sum[c] = (sum[c] as number) - (accelMps2[3 * from + c] as number);
      from++;
    }
    let square = 0;
    for (let c = 0; c < 3; c++) square += ((accelMps2[3 * i + c] as number) - (sum[c] as number) / (to - from)) ** 2;
    out[i] = Math.sqrt(square);
  }
  return out;
}

function quantile(values: Float64Array, share: number): number {
  const sorted = Float64Array.from(values).sort();
  return sorted[Math.floor(share * (sorted.length - 1))] ?? 0;
}
