import { sampleFlag } from '../../foundation/imu-block.ts';
import { norm } from '../../signal/vec3.ts';
import type { Strapdown } from './strapdown.ts';

/** Largest peak of the angular rate about release. */
export interface SnapPeak {
  readonly timeS: number;
  readonly errorS: number;
  readonly rateRadps: number;
  readonly errorRadps: number;
  /** By how much the rate may have been higher between two samples, standard deviation of the way up alone. */
  readonly missedRadps: number;
  readonly clipped: boolean;
}

const window = { beforeS: 0.1, afterS: 0.15 } as const;

/**
 * Above the wrist the forearm is thrown on for a moment as the ball leaves and as the elbow comes to its end, for some 15 ms: one such peak lies between two
 * samples that are as far apart, and what the samples show is a slower one beside it. Up to 0.4 of the rate was missed in one of eight shots at
 * 50 Hz on the simulated arm, 0.1 to 0.15 at 100 Hz on one of others. What a bent curve may rise between samples goes by the square of their distance.
 */
const missed = { share: 0.17, stepS: 0.02 } as const;

/**
 * The largest local peak from 0.1 s before to 0.15 s after release, by a parabola.
 *
 * The sensor's filter is a weighted mean over time and takes from a peak half of its bend times the variance of the weights. That of two
 * equal poles, the usual kind, is half of the delay squared.
 *
 * @param isOnHand whether the sensor surely sits on the hand, which turns on smoothly.
 * @returns null without a peak.
 */
export function findSnapPeak(
  path: Strapdown,
  releaseS: number,
  filterDelayS: number,
  isOnHand: boolean,
): SnapPeak | null {
  const rate = (i: number): number => norm(path.rateInSensor(i));
  let best = -1;
  for (let i = 1; i < path.block.length - 1; i++) {
    const t = path.timeOf(i);
    if (t < releaseS - window.beforeS || t > releaseS + window.afterS) continue;
    if (rate(i) < rate(i - 1) || rate(i) < rate(i + 1)) continue;
    if (best < 0 || rate(i) > rate(best)) best = i;
  }
  if (best < 0) return null;
  const [a, b, c] = [rate(best - 1), rate(best), rate(best + 1)];
  const bend = a - 2 * b + c;
  const offset = bend < 0 ? (0.5 * (a - c)) / bend : 0;
  const stepS = (path.timeOf(best + 1) - path.timeOf(best - 1)) / 2;
  const clipped = [best - 1, best, best + 1].some(
    (i) => ((path.block.flags[i] as number) & sampleFlag.gyroClipped) !== 0,
  );
  const flattened = Math.max(0, -bend) * (filterDelayS / stepS) ** 2 * 0.25;
  const rateRadps = b - 0.25 * (a - c) * offset + flattened;
  return {
    timeS: path.timeOf(best) + offset * stepS,
    errorS: 0.3 * stepS,
    rateRadps,
    errorRadps: Math.hypot(0.1 * bend, flattened),
    missedRadps: isOnHand ? 0 : missed.share * Math.min(1, (stepS / missed.stepS) ** 2) * rateRadps,
    clipped,
  };
}
