import type { ImuBlock } from '../foundation/imu-block.ts';
import { currentAttitude, deriveAttitude, stepAttitude } from './attitude.ts';
import { headingSdRad, inclinationSdRad } from './attitude-errors.ts';
import type { AttitudeParams } from './attitude-params.ts';
import {
  type AttitudeCoefficients,
  type AttitudeState,
  type GyroBiasPrior,
  initialAttitudeState,
} from './attitude-state.ts';
import type { Quaternion } from './rotation.ts';

/** Attitudes of a run of samples, in columns; row i belongs to sample i. */
export interface AttitudeTrack {
  readonly length: number;
  readonly timeS: Float64Array;
  /** Quaternions `[w, x, y, z]` from the sensor's axes to the world (z up, heading zero at the stream's start), 4n. */
  readonly sensorToWorld: Float64Array;
  /** Bias to subtract from the gyroscope, 3n, rad/s. */
  readonly gyroBiasRadps: Float64Array;
  /** Standard error of the direction of gravity (the whole angle), n, rad. */
  readonly inclinationSdRad: Float64Array;
  /** Standard error of the heading since the stream's start, n, rad. */
  readonly headingSdRad: Float64Array;
  /** 1 where the sensor was at rest, n. */
  readonly atRest: Uint8Array;
}

/** @returns columns of zeros for `length` samples. */
export function emptyAttitudeTrack(length: number): AttitudeTrack {
  return {
    length,
    timeS: new Float64Array(length),
    sensorToWorld: new Float64Array(4 * length),
    gyroBiasRadps: new Float64Array(3 * length),
    inclinationSdRad: new Float64Array(length),
    headingSdRad: new Float64Array(length),
    atRest: new Uint8Array(length),
  };
}

/** @returns the attitude of row `i` of a track. */
export function attitudeAt(track: AttitudeTrack, i: number): Quaternion {
  const q = track.sensorToWorld;
  return [q[4 * i]!, q[4 * i + 1]!, q[4 * i + 2]!, q[4 * i + 3]!];
}

/**
 * The attitude filter over a stream of blocks. Any split of the samples gives the same numbers bit for bit, and so does
 * going on from `state()` as JSON.
 */
export class AttitudeStream {
  private readonly coefficients: AttitudeCoefficients;
  private readonly now: AttitudeState;

  /**
   * @param params see attitude-params.ts; missing ones have their defaults.
   * @param state where to go on from; by default the start, with an unknown bias.
   * @throws SeamwiseError for parameters outside their range.
   */
  constructor(params: Partial<AttitudeParams> = {}, state: AttitudeState | null = null) {
    this.coefficients = deriveAttitude(params);
    this.now = state === null ? initialAttitudeState(this.coefficients) : structuredCopy(state);
  }

  /**
   * @returns one row for each sample of the block.
   * @throws RangeError when the block has no gyroscope.
   */
  push(block: ImuBlock): AttitudeTrack {
    return stepAll(this.coefficients, this.now, block);
  }

  /** @returns a copy of all that is remembered. */
  state(): AttitudeState {
    return structuredCopy(this.now);
  }
}

/**
 * The same filter over a whole recording.
 *
 * @param bias what is known of the gyroscope's bias beforehand; null for nothing.
 * @throws SeamwiseError for parameters outside their range; RangeError when the block has no gyroscope.
 */
export function estimateAttitude(
  block: ImuBlock,
  params: Partial<AttitudeParams> = {},
  bias: GyroBiasPrior | null = null,
): AttitudeTrack {
  const coefficients = deriveAttitude(params);
  return stepAll(coefficients, initialAttitudeState(coefficients, bias), block);
}

/** Steps through a block and writes down every row; changes `state`. */
export function stepAll(coefficients: AttitudeCoefficients, state: AttitudeState, block: ImuBlock): AttitudeTrack {
  const track = emptyAttitudeTrack(block.length);
  for (let i = 0; i < block.length; i++) {
    stepAttitude(coefficients, state, block, i);
    track.timeS[i] = block.timeS[i]!;
    track.sensorToWorld.set(currentAttitude(state), 4 * i);
    track.gyroBiasRadps.set(state.bias.biasRadps, 3 * i);
    track.inclinationSdRad[i] = inclinationSdRad(state);
    track.headingSdRad[i] = headingSdRad(coefficients, state);
    track.atRest[i] = state.atRest ? 1 : 0;
  }
  return track;
}

function structuredCopy(state: AttitudeState): AttitudeState {
  return JSON.parse(JSON.stringify(state)) as AttitudeState;
}

/** Joins tracks of one stream end to end. */
export function concatAttitudeTracks(tracks: readonly AttitudeTrack[]): AttitudeTrack {
  const joined = emptyAttitudeTrack(tracks.reduce((sum, track) => sum + track.length, 0));
  let at = 0;
  for (const track of tracks) {
    joined.timeS.set(track.timeS, at);
    joined.sensorToWorld.set(track.sensorToWorld, 4 * at);
    joined.gyroBiasRadps.set(track.gyroBiasRadps, 3 * at);
    joined.inclinationSdRad.set(track.inclinationSdRad, at);
    joined.headingSdRad.set(track.headingSdRad, at);
    joined.atRest.set(track.atRest, at);
    at += track.length;
  }
  return joined;
}
