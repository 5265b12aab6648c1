import { type ImuBlock, sampleFlag } from '../../foundation/imu-block.ts';
import { dot, norm, type Vec3, vecAt } from '../../signal/vec3.ts';
import type { ContactKind } from '../shot.ts';
import type { ShotAxes } from './before-release.ts';
import type { Surroundings } from './flight-study.ts';

/** The first touch after a flight, per unit mass of the ball. */
export interface Impact {
  /** Sum of the force over the touch, m/s, in the shot's axes (forward, left, up). */
  readonly impulseMps: Vec3;
  /** Size of that sum. */
  readonly hardnessMps: number;
  readonly peakMps2: number;
  /** From touch to the peak of the force, s. */
  readonly riseS: number;
  readonly durationS: number;
  readonly clipped: boolean;
  /** Whether the ball was free again soon after. */
  readonly freeAgain: boolean;
}

/** A touch is followed at most this long, s. */
const longestS = 0.1;
/** m/s²; below this the touch is over. */
const overMps2 = 1.5;

/**
 * Measures the touch that begins at `contactIndex` of the surroundings.
 *
 * @param nextFreeS start of the next free flight, or null when there was none within reach.
 */
export function measureImpact(
  block: ImuBlock,
  around: Surroundings,
  contactIndex: number,
  axes: ShotAxes,
  nextFreeS: number | null,
): Impact {
  const t0 = around.timeS[contactIndex] as number;
  const sum: [number, number, number] = [0, 0, 0];
  let peak = 0;
  let peakS = t0;
  let clipped = false;
  let end = contactIndex;
  for (let i = contactIndex; i < around.timeS.length; i++) {
    const t = around.timeS[i] as number;
    const size = around.sizeMps2[i] as number;
    if (t - t0 > longestS || (size < overMps2 && i > contactIndex)) break;
    end = i;
    const h = i > 0 ? t - (around.timeS[i - 1] as number) : 0;
    const previous = i > contactIndex ? vecAt(around.forceMps2, i - 1) : ([0, 0, 0] as Vec3);
    const force = vecAt(around.forceMps2, i);
    for (let axis = 0; axis < 3; axis++) {
      sum[axis] = (sum[axis] as number) + (h / 2) * ((previous[axis] as number) + (force[axis] as number));
    }
    if (((block.flags[around.first + i] as number) & sampleFlag.accelClipped) !== 0) clipped = true;
    if (size > peak) {
      peak = size;
      peakS = t;
    }
  }
  const impulse: Vec3 = [dot(sum, axes.forward), dot(sum, axes.left), dot(sum, axes.up)];
  return {
    impulseMps: impulse,
    hardnessMps: norm(impulse),
    peakMps2: peak,
    riseS: peakS - t0,
    durationS: (around.timeS[end] as number) - t0,
    clipped,
    freeAgain: nextFreeS !== null && nextFreeS - t0 < 0.3,
  };
}

/**
 * Tells what the ball met.
 *
 * @param heightM height of the ball's centre above release.
 * @param ringM expected height of the ring above release and its standard deviation.
 */
export function judgeContact(
  impact: Impact,
  heightM: number,
  ringM: { readonly meanM: number; readonly standardDeviationM: number },
): ContactKind {
  const above = heightM - ringM.meanM;
  const soft = impact.peakMps2 < 45 && impact.riseS > 0.006;
  const nearRing = above > -0.5 - ringM.standardDeviationM && above < 1.2 + ringM.standardDeviationM;
  if (!nearRing || (soft && !impact.freeAgain)) {
    const upward = impact.impulseMps[2] / Math.max(1e-9, impact.hardnessMps);
    if (heightM < -0.8 && upward > 0.7 && !soft) return 'floor';
    return soft || !impact.freeAgain ? 'hands' : 'unknown';
  }
  if (soft) return 'net';
  const [forward, , up] = impact.impulseMps;
  const steepness = Math.atan2(up, -forward);
  const backward = forward < 0 && Math.abs(steepness) < (38 * Math.PI) / 180;
  return backward && above > 0.15 ? 'board' : 'ring';
}
