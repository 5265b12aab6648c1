import type { ImuBlock } from '../../foundation/imu-block.ts';
import { sampleFlag } from '../../foundation/imu-block.ts';

/**
 * Stretches in which nothing seems to touch the ball: candidates for free flight, found sample by sample.
 *
 * A sample is quiet when, against the sample about 8 ms earlier,
 *   (1) the angular rate changes no faster than torque-free motion of a slightly unbalanced ball allows,
 *   (2) the specific force changes no faster than drag carried round by the spin allows, and
 *   (3) the specific force is no larger than drag, bias and a sensor at the wall can give at this rate of turn.
 * Without a gyroscope (1) falls away and (3) becomes a plain limit.
 * Latency: one sample, and two where a single rough sample inside a flight is forgiven.
 */
export interface QuietRun {
  /** First and one past the last sample, counted from the start of the stream. */
  readonly start: number;
  readonly end: number;
}

export const quietRunParameters = {
  /** s; the span over which changes are taken. Small: noise shows; large: edges blur. */
  baselineS: 0.008,
  /** rad/s²; angular acceleration that noise and drag can show. Small: noisy gyroscopes break flights. */
  angularAccelerationRadps2: 12,
  /** Ratio of moments of inertia by which a ball may be unbalanced: its free motion turns ω by ratio · ω². */
  unbalance: 0.06,
  /** m/s²; specific force of drag, lift and bias together. */
  forceMps2: 4.5,
  /** m/s³; jerk that noise can show. */
  jerkMps3: 60,
  /** m; a sensor sits inside the ball. */
  largestOffsetM: 0.125,
  /** m/s²; limit without a gyroscope, where the centripetal part is not known. */
  forceWithoutGyroMps2: 5.5,
  /** s and times the quiet limit; a disturbance this short and gentle is a tick inside the ball, not a touch. */
  longestTickS: 0.022,
  hardestTick: 12,
  hardestPastGap: 2,
  /** s; a longer gap ends the run. */
  longestGapS: 0.2,
  /** s; shorter runs are dropped. */
  shortestRunS: 0.05,
} as const;

export interface QuietRunState {
  open: number;
  rough: number;
  last: number;
}

export function initialQuietRunState(): QuietRunState {
  return { open: -1, rough: 0, last: -1 };
}

/** How far a sample breaks the quiet: below 1 it is quiet. */
export function roughness(block: ImuBlock, i: number, back: number): number {
  const p = quietRunParameters;
  const a = block.accelMps2;
  const fx = a[3 * i] as number;
  const fy = a[3 * i + 1] as number;
  const fz = a[3 * i + 2] as number;
  const size = Math.sqrt(fx * fx + fy * fy + fz * fz);
  const j = Math.max(0, i - back);
  const dt = Math.max((block.timeS[i] as number) - (block.timeS[j] as number), 1e-6);
  const df = Math.sqrt(
    (fx - (a[3 * j] as number)) ** 2 + (fy - (a[3 * j + 1] as number)) ** 2 + (fz - (a[3 * j + 2] as number)) ** 2,
  );
  const g = block.gyroRadps;
  if (!g) {
    // A tumbling sensor away from the centre of mass keeps a slowly changing force: the change is what tells.
    const jerk = df / (p.forceWithoutGyroMps2 * Math.min(1, 20 * dt) + 0.5);
    return Math.max(size / p.forceWithoutGyroMps2, jerk);
  }
  const wx = g[3 * i] as number;
  const wy = g[3 * i + 1] as number;
  const wz = g[3 * i + 2] as number;
  const w2 = wx * wx + wy * wy + wz * wz;
  const w = Math.sqrt(w2);
  const lever = w2 * p.largestOffsetM;
  const level = size / (p.forceMps2 + lever);
  if (level > 1.5) return level;
  const dw = Math.sqrt(
    (wx - (g[3 * j] as number)) ** 2 + (wy - (g[3 * j + 1] as number)) ** 2 + (wz - (g[3 * j + 2] as number)) ** 2,
  );
  const turn = dw / ((p.angularAccelerationRadps2 + p.unbalance * w2) * dt + 0.02);
  // Drag carried round cannot change by more than twice its size however long the gap.
  const swing = p.forceMps2 * Math.min(2, w * dt) + p.unbalance * lever * w * dt;
  const jerk = df / (p.jerkMps3 * dt + swing + 0.15);
  return Math.max(level, turn, jerk);
}

/**
 * Takes sample `i` of the stream (at `index` of the block) and returns the run it ends, if any.
 *
 * @param back samples that make up the baseline.
 */
export function stepQuietRun(
  state: QuietRunState,
  block: ImuBlock,
  index: number,
  i: number,
  back: number,
): QuietRun | null {
  const p = quietRunParameters;
  const isGap = ((block.flags[index] as number) & sampleFlag.gapBefore) !== 0;
  const dt = index > 0 ? (block.timeS[index] as number) - (block.timeS[index - 1] as number) : 0;
  const rough = roughness(block, index, isGap ? 1 : back);
  let ended: QuietRun | null = null;
  if (state.open >= 0 && isGap && dt > p.longestGapS) {
    ended = { start: state.open, end: state.last + 1 };
    state.open = -1;
  }
  if (rough <= 1) {
    if (state.open < 0) state.open = i;
    state.last = i;
    state.rough = 0;
    return ended;
  }
  if (state.open >= 0) {
    state.rough++;
    // Something loose in the ball ticks for a moment and changes nothing; a touch is harder or lasts.
    const sinceS = (block.timeS[index] as number) - (block.timeS[index - (i - state.last)] ?? Number.NEGATIVE_INFINITY);
    // Behind a gap the touch itself may be lost: what is left of it is a changed spin.
    if (rough > (isGap ? p.hardestPastGap : p.hardestTick) || (sinceS > p.longestTickS && state.rough > 1 + back)) {
      ended = { start: state.open, end: state.last + 1 };
      state.open = -1;
      state.rough = 0;
    }
  }
  return ended;
}
