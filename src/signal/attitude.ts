/**
 * Attitude of a body-worn sensor from gyroscope and accelerometer alone (no compass), with the gyroscope's bias.
 *
 * The gyroscope carries a frame that is nearly fixed in the room. In that frame the specific force is averaged over
 * seconds: the wearer's own acceleration averages out, for a hand comes back, and gravity stays. Its direction corrects
 * the inclination; the steady part of these corrections is the gyroscope's bias.
 *
 * Source: Laidig and Seel 2023, Information Fusion 91:187–204, written from the paper. Deviations:
 * 1. No magnetometer: heading is relative to the first sample and drifts.
 * 2. The average is two equal first-order stages in place of a Butterworth filter, and is divided by the same average of
 *    the weights (normalised convolution, Knutsson and Westin 1993): uneven steps, a start in mid-motion and weights need
 *    no special cases.
 * 3. Samples at rest weigh more, so a still moment is remembered through the motion after it.
 * 4. A gap or a clipped rate makes the memory lighter by the angle that it may hide.
 * 5. The rate is integrated as linear between samples with Miller's coning term (rotation.ts).
 * 6. The bias filter has noise densities, for uneven steps, and learns from motion only once half the memory is filled.
 * 7. It states its errors: see attitude-errors.ts.
 *
 * Start-up: the inclination is unknown at the first sample; its stated error falls within a second at rest and within
 * two memories (6 s) in motion. Latency: none. Rates 50–1000 Hz. Per step about 400 floating-point operations.
 */
import type { ImuBlock } from '../foundation/imu-block.ts';
import { sampleFlag } from '../foundation/imu-block.ts';
import { resolveParams } from '../foundation/parameters.ts';
import { growAttitudeErrors, loseAttitude, stateInclination } from './attitude-errors.ts';
import { type AttitudeParams, attitudeParams } from './attitude-params.ts';
import type { AttitudeCoefficients, AttitudeState } from './attitude-state.ts';
import { growBias, measureBias } from './gyro-bias.ts';
import { meanRate, stepRest } from './rest-detection.ts';
import { multiply, type Quaternion, rotate, stepRotation } from './rotation.ts';
import type { Vec3 } from './vec3.ts';

export const attitudeVersion = '1';

/** @throws SeamwiseError for parameters outside their range. */
export function deriveAttitude(params: Partial<AttitudeParams> = {}): AttitudeCoefficients {
  const resolved = resolveParams(attitudeParams, params);
  const walk = resolved.biasMotionSdRadps ** 2 / resolved.biasForgettingTimeS;
  return Object.freeze({
    params: resolved,
    stageTimeS: resolved.accelTimeS / 2,
    biasWalk: walk,
    // A scalar random walk of intensity q seen with noise density r settles at the variance sqrt(q r).
    biasMotionNoise: resolved.biasMotionSdRadps ** 4 / walk,
    biasRestNoise: resolved.biasRestSdRadps ** 4 / walk,
  });
}

/** @returns the attitude after the last step: body to world (z up, heading zero at the first sample). */
export function currentAttitude(state: AttitudeState): Quaternion {
  return multiply(asQuaternion(state.carriedToWorld), asQuaternion(state.sensorToCarried));
}

/**
 * Takes sample `i` of a block; changes `state`. Read the result from the state by `currentAttitude`,
 * `inclinationSdRad` and `headingSdRad` (attitude-errors.ts), `state.bias` and `state.atRest`.
 *
 * @throws RangeError when the block has no gyroscope.
 */
export function stepAttitude(
  coefficients: AttitudeCoefficients,
  state: AttitudeState,
  block: ImuBlock,
  i: number,
): void {
  const { accelMps2, gyroRadps } = block;
  if (gyroRadps === null) throw new RangeError('attitude needs a gyroscope: this block has none');
  const { params } = coefficients;
  const at = 3 * i;
  const timeS = block.timeS[i]!;
  const flags = block.flags[i]!;
  const accel: Vec3 = [accelMps2[at]!, accelMps2[at + 1]!, accelMps2[at + 2]!];
  const gyro: Vec3 = [gyroRadps[at]!, gyroRadps[at + 1]!, gyroRadps[at + 2]!];
  const { last } = state;
  const stepS = last === null ? 0 : timeS - last.timeS;
  const gap = last !== null && (flags & sampleFlag.gapBefore) !== 0;
  // A sample after a gap stands for no more time than any other.
  if (last !== null && !gap) state.sampleS = stepS;
  const { sampleS } = state;
  state.kept = 1;

  state.atRest = stepRest(params, state.rest, sampleS, gap, gyro, accel);
  growBias(state.bias, coefficients.biasWalk * stepS, params.biasStartSdRadps ** 2);
  if (state.atRest) learnAtRest(coefficients, state, sampleS);

  const bias = state.bias.biasRadps;
  const rate: Vec3 = [gyro[0] - bias[0]!, gyro[1] - bias[1]!, gyro[2] - bias[2]!];
  if (last !== null) {
    const before = asVec(last.rateRadps);
    const turned = multiply(asQuaternion(state.sensorToCarried), stepRotation(before, rate, stepS));
    state.sensorToCarried = normalised(turned);
    if (gap) loseAttitude(params, state, stepS, before, rate);
  }
  state.last = { timeS, rateRadps: [rate[0], rate[1], rate[2]], rawRadps: [gyro[0], gyro[1], gyro[2]] };

  const sensorToWorld = currentAttitude(state);
  average(coefficients, state, stepS, accel, sensorToWorld);
  growAttitudeErrors(coefficients, state, stepS, accel, rate, sensorToWorld, flags);
  correctInclination(coefficients, state, gap ? 0 : stepS);
  stateInclination(params, state);
}

function learnAtRest(coefficients: AttitudeCoefficients, state: AttitudeState, stepS: number): void {
  if (!(stepS > 0)) return;
  const noise = coefficients.biasRestNoise / stepS;
  const mean = meanRate(state.rest);
  const { biasRadps } = state.bias;
  measureBias(state.bias, 1, 0, 0, mean[0] - biasRadps[0]!, noise);
  measureBias(state.bias, 0, 1, 0, mean[1] - biasRadps[1]!, noise);
  measureBias(state.bias, 0, 0, 1, mean[2] - biasRadps[2]!, noise);
}

/** Averages weight, force, attitude matrix and the bias's effect over the same memory, so that they share its lag. */
function average(
  coefficients: AttitudeCoefficients,
  state: AttitudeState,
  stepS: number,
  accel: Vec3,
  sensorToWorld: Quaternion,
): void {
  const weight = state.atRest ? coefficients.params.restWeight : 1;
  const force = rotate(asQuaternion(state.sensorToCarried), accel);
  const [w, x, y, z] = sensorToWorld;
  const r0 = 1 - 2 * (y * y + z * z);
  const r1 = 2 * (x * y - w * z);
  const r2 = 2 * (x * z + w * y);
  const r3 = 2 * (x * y + w * z);
  const r4 = 1 - 2 * (x * x + z * z);
  const r5 = 2 * (y * z - w * x);
  const r6 = 2 * (x * z - w * y);
  const r7 = 2 * (y * z + w * x);
  const r8 = 1 - 2 * (x * x + y * y);
  const b = state.bias.biasRadps;
  const b0 = b[0]!;
  const b1 = b[1]!;
  const b2 = b[2]!;
  const share = 1 - Math.exp(-state.sampleS / coefficients.stageTimeS);
  if (stepS > state.sampleS) fade(state, Math.exp((state.sampleS - stepS) / coefficients.stageTimeS));
  const { first, second } = state;
  const values = [
    1,
    force[0],
    force[1],
    force[2],
    r0,
    r1,
    r2,
    r3,
    r4,
    r5,
    r6,
    r7,
    r8,
    r0 * b0 + r1 * b1 + r2 * b2,
    r3 * b0 + r4 * b1 + r5 * b2,
  ];
  // The decay does not depend on the weight: a sample at rest adds more and takes nothing away.
  const give = share * weight;
  for (let k = 0; k < values.length; k++) {
    first[k] = first[k]! + (give * values[k]! - share * first[k]!);
    second[k] = second[k]! + share * (first[k]! - second[k]!);
  }
}

/** Two equal stages left alone for a while: what is in the first runs into the second. */
function fade(state: AttitudeState, keep: number): void {
  const { first, second } = state;
  const through = -keep * Math.log(keep);
  for (let k = 0; k < first.length; k++) {
    second[k] = keep * second[k]! + through * first[k]!;
    first[k] = keep * first[k]!;
  }
}

/** Turns the world so that the averaged force points up, and lets the bias filter see the turn. */
function correctInclination(coefficients: AttitudeCoefficients, state: AttitudeState, stepS: number): void {
  const { params } = coefficients;
  const { second } = state;
  const weight = second[0]!;
  const [x, y, z] = rotate(asQuaternion(state.carriedToWorld), [second[1]!, second[2]!, second[3]!]);
  const length = Math.sqrt(x * x + y * y + z * z);
  if (!(length > 0)) return;
  const ux = x / length;
  const uy = y / length;
  const uz = z / length;
  state.carriedToWorld = normalised(multiply(turnUp(ux, uy, uz), asQuaternion(state.carriedToWorld)));
  const filled = state.seenS / params.accelTimeS;
  if (state.atRest || !(stepS > 0) || !(filled > 0.5)) return;
  const { bias } = state;
  const noise = coefficients.biasMotionNoise / stepS / Math.min(1, filled) ** 2;
  const limit = params.biasLimitRadps;
  const [b0, b1, b2] = [bias.biasRadps[0]!, bias.biasRadps[1]!, bias.biasRadps[2]!];
  for (let row = 0; row < 3; row++) {
    const h0 = second[4 + 3 * row]! / weight;
    const h1 = second[5 + 3 * row]! / weight;
    const h2 = second[6 + 3 * row]! / weight;
    const expected = h0 * b0 + h1 * b1 + h2 * b2;
    if (row < 2) {
      const corrected = (row === 0 ? uy : -ux) / stepS;
      const innovation = second[13 + row]! / weight - corrected - expected;
      measureBias(bias, h0, h1, h2, Math.min(limit, Math.max(-limit, innovation)), noise);
    } else if (params.verticalForgetting > 0) {
      measureBias(bias, h0, h1, h2, -expected, noise / params.verticalForgetting);
    }
  }
}

/** @returns the shortest turn of a unit vector to [0, 0, 1]. */
export function turnUp(x: number, y: number, z: number): Quaternion {
  if (z < -0.999999) return [0, 1, 0, 0];
  const w = Math.sqrt((1 + z) / 2);
  return [w, y / (2 * w), -x / (2 * w), 0];
}

function normalised(q: Quaternion): number[] {
  const scale = 1 / Math.sqrt(q[0] * q[0] + q[1] * q[1] + q[2] * q[2] + q[3] * q[3]);
  return [q[0] * scale, q[1] * scale, q[2] * scale, q[3] * scale];
}

function asQuaternion(q: readonly number[]): Quaternion {
  return q as unknown as Quaternion;
}

function asVec(v: readonly number[]): Vec3 {
  return v as unknown as Vec3;
}
