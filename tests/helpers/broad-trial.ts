import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { attitudeDifference } from '../../src/signal/attitude-difference.ts';
import { type AttitudeTrack, attitudeAt } from '../../src/signal/attitude-track.ts';
import { conjugate, fromRotationVector, multiply, type Quaternion } from '../../src/signal/rotation.ts';
import { openDataDir, readOpenCsv } from './open-data.ts';

const file = '07_undisturbed_fast_rotation_B.csv';

/** Trial 07 of BROAD: readings with the optical attitude of the same sensor. */
export interface BroadTrial {
  readonly block: ReturnType<typeof readOpenCsv>;
  /** Sensor to world by the cameras; null where the markers were not seen. */
  readonly reference: readonly (Quaternion | null)[];
  /** Whether the sample belongs to the part that is scored. */
  readonly scored: readonly boolean[];
}

export function readBroadTrial(): BroadTrial {
  const rows = readFileSync(join(openDataDir, 'broad', file), 'utf8')
    .trim()
    .split('\n')
    .slice(1)
    .map((line) => line.split(',').map(Number));
  return {
    block: readOpenCsv('broad', file),
    reference: rows.map((row) => (Number.isNaN(row[7]) ? null : (row.slice(7, 11) as unknown as Quaternion))),
    scored: rows.map((row) => row[11] === 1),
  };
}

/** Root mean square errors over the scored part, degrees, and mean squared errors in units of the stated ones. */
export interface BroadScore {
  readonly totalDeg: number;
  readonly headingDeg: number;
  readonly inclinationDeg: number;
  readonly inclinationZ2: number;
  readonly headingZ2: number;
}

/**
 * Errors as the paper of the data defines them. Without a compass the heading has no zero: a constant turn about the
 * vertical is taken out, fixed at the last sample before the movement.
 *
 * @param aheadS carries each attitude on by its own rate for this long first, for a constant offset of the two clocks.
 */
export function scoreBroad(trial: BroadTrial, track: AttitudeTrack, aheadS = 0): BroadScore {
  const gyro = trial.block.gyroRadps as Float64Array;
  const estimateAt = (i: number) => {
    const rate = (k: number) => (gyro[3 * i + k]! - track.gyroBiasRadps[3 * i + k]!) * aheadS;
    return multiply(attitudeAt(track, i), fromRotationVector([rate(0), rate(1), rate(2)]));
  };
  const start = trial.scored.indexOf(true) - 1;
  const [w, , , z] = multiply(estimateAt(start), conjugate(trial.reference[start] as Quaternion));
  const length = Math.hypot(w, z);
  const offset: Quaternion = [w / length, 0, 0, z / length];
  const sums = { total: 0, heading: 0, inclination: 0, inclinationZ2: 0, headingZ2: 0 };
  let count = 0;
  for (const [i, reference] of trial.reference.entries()) {
    if (reference === null || !trial.scored[i]) continue;
    const { totalRad, headingRad, inclinationRad } = attitudeDifference(estimateAt(i), multiply(offset, reference));
    sums.total += totalRad ** 2;
    sums.heading += headingRad ** 2;
    sums.inclination += inclinationRad ** 2;
    sums.inclinationZ2 += (inclinationRad / track.inclinationSdRad[i]!) ** 2;
    sums.headingZ2 += (headingRad / track.headingSdRad[i]!) ** 2;
    count++;
  }
  const rmsDeg = (sum: number) => (Math.sqrt(sum / count) * 180) / Math.PI;
  return {
    totalDeg: rmsDeg(sums.total),
    headingDeg: rmsDeg(sums.heading),
    inclinationDeg: rmsDeg(sums.inclination),
    inclinationZ2: sums.inclinationZ2 / count,
    headingZ2: sums.headingZ2 / count,
  };
}
