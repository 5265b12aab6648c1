import { standardGravityMps2 } from '../../foundation/constants.ts';
import type { ImuBlock } from '../../foundation/imu-block.ts';
import { notMeasured } from '../../foundation/measured.ts';
import { add, dot, norm, scale, subtract, unit, type Vec3, vecAt } from '../../signal/vec3.ts';
import { type Shot, shotMeasureNames } from '../shot.ts';
import type { Instant } from './release.ts';
import type { WristParams } from './wrist-params.ts';

const setS = [-0.5, -0.15] as const;
const holdS = [0.25, 0.5] as const;
const pushOnS = 0.3;
const dipS = 0.2;

/**
 * Looks for a shot in the specific force alone: a push well above gravity that ends at once, a sensor that has turned over by
 * then, as gravity's direction before and after shows, and a hand that is quiet afterward.
 *
 * Without a gyroscope neither path nor turn rate is known: a throw that ends high and still looks the same.
 *
 * @param peak sample of the hardest push.
 * @returns the release, or null when the push was none of a shot.
 */
export function judgePush(block: ImuBlock, peak: number, params: WristParams): Instant | null {
  const peakS = block.timeS[peak] as number;
  const size = (i: number): number => norm(vecAt(block.accelMps2, i));
  const g = standardGravityMps2;
  let gained = 0;
  for (const way of [-1, 1] as const) {
    for (let i = peak; i > 0 && i < block.length - 1; i += way) {
      const sinceS = (block.timeS[i] as number) - peakS;
      if (size(i) < g || Math.abs(sinceS) > pushOnS) break;
      gained += (size(i) - g) * Math.abs((block.timeS[i + way] as number) - (block.timeS[i] as number));
    }
  }
  if (gained < params.forcePushMps) return null;
  const set = meanForce(block, peakS + setS[0], peakS + setS[1]);
  const hold = meanForce(block, peakS + holdS[0], peakS + holdS[1]);
  if (!set || !hold) return null;
  if (hold.scatterMps2 > params.forceHoldMps2) return null;
  const turn = Math.acos(Math.min(1, Math.max(-1, dot(unit(set.mean), unit(hold.mean)))));
  if (turn < params.forceTurnRad || turn > params.forceTurnMostRad) return null;
  // The push ends where the force is least before the arm is braked.
  let least = peak;
  for (let i = peak; i < block.length && (block.timeS[i] as number) - peakS < dipS; i++)
    if (size(i) < size(least)) least = i;
  const stepS =
    block.length > 1
      ? ((block.timeS[block.length - 1] as number) - (block.timeS[0] as number)) / (block.length - 1)
      : 0;
  return {
    timeS: (block.timeS[least] as number) + params.forceReleaseLagS,
    errorS: Math.hypot(params.forceReleaseSpreadS, 0.5 * stepS),
  };
}

function meanForce(block: ImuBlock, fromS: number, toS: number): { mean: Vec3; scatterMps2: number } | null {
  let sum: Vec3 = [0, 0, 0];
  const inside: Vec3[] = [];
  for (let i = 0; i < block.length; i++) {
    const t = block.timeS[i] as number;
    if (t < fromS || t > toS) continue;
    const f = vecAt(block.accelMps2, i);
    inside.push(f);
    sum = add(sum, f);
  }
  if (inside.length < 3) return null;
  const mean = scale(sum, 1 / inside.length);
  const square = inside.reduce((total, f) => total + norm(subtract(f, mean)) ** 2, 0);
  return { mean, scatterMps2: Math.sqrt(square / inside.length) };
}

/** @returns a shot of which only the time of release is known. */
export function forceOnlyShot(release: Instant, index: number, filterDelayS: number): Shot {
  const measures = Object.fromEntries(
    shotMeasureNames.map((name) => [name, notMeasured('no-gyro')]),
  ) as Shot['measures'];
  const shot: Shot = {
    index,
    stage: 'final',
    startKind: 'unknown',
    pickupS: null,
    liftS: null,
    releaseS: release.timeS - filterDelayS,
    contactS: null,
    timeErrorsS: { pickup: null, lift: null, release: release.errorS, contact: null },
    timeReasons: { pickup: 'no-gyro', lift: 'no-gyro', contact: 'not-observable-from-wrist' },
    contactKind: 'unknown',
    pauseAt: null,
    measures,
  };
  return Object.freeze(shot);
}
