/**
 * What the attitude filter says of its own error. One standard deviation of the whole angle, small-angle sums of
 * independent parts; none has an outside source but plain error propagation:
 *
 * inclination² = (accelerometer bias / g)² + (motion not averaged out)² + (gap or clipping in the memory)²
 *   + (gyroscope bias over the memory)² + (gyroscope scale over the turns of a motion)²
 * heading² = (gaps, clipping) + (gyroscope bias since the start)² + sum over axes (scale × what the axis turned it)²
 */
import { standardGravityMps2 } from '../foundation/constants.ts';
import { sampleFlag } from '../foundation/imu-block.ts';
import type { AttitudeParams } from './attitude-params.ts';
import type { AttitudeCoefficients, AttitudeState } from './attitude-state.ts';
import { biasVarianceAlong } from './gyro-bias.ts';
import type { Quaternion } from './rotation.ts';
import { dot, type Vec3 } from './vec3.ts';

/** A direction that is wholly unknown: the standard deviation of an angle even over ±180°. */
const unknownVariance = (Math.PI * Math.PI) / 3;
/** s; how long an arm keeps its angular rate. */
const rateTimeS = 0.1;
/** s of a wholly unknown force (1 g in size) that stand before the first sample. */
const priorS = 0.05;
/** Share of a clipped rate that may lie beyond the range. */
const clippedShare = 0.2;

/** @returns the standard error of the direction of gravity, rad (the whole angle, not one axis). */
export function inclinationSdRad(state: AttitudeState): number {
  return Math.sqrt(state.inclinationVariance);
}

/** @returns the standard error of the heading since the first sample, rad. */
export function headingSdRad(coefficients: AttitudeCoefficients, state: AttitudeState): number {
  const variance = headingVarianceWithoutBias(coefficients.params, state) + state.headingDriftRad ** 2;
  return Math.sqrt(Math.min(variance, unknownVariance));
}

/** @returns what gaps, clipping and the gyroscope's scale leave of the heading, rad². */
export function headingVarianceWithoutBias(params: AttitudeParams, state: AttitudeState): number {
  const [x, y, z] = state.axisTurnRad as [number, number, number];
  return state.headingVariance + params.gyroScaleError ** 2 * (x * x + y * y + z * z);
}

/**
 * Variance about each axis of the turn in a gap, when it is bridged by the mean of the rates at its ends: a rate that
 * wanders between its ends (Brownian bridge), or freely where the gap is long.
 *
 * @param meanRate2 mean squared rate, all axes together, of the motion around the gap, (rad/s)².
 */
export function gapTurnVariance(params: AttitudeParams, gapS: number, meanRate2: number): number {
  const taken = (params.gapTurnRadps * gapS) / (gapS + 0.5);
  const rateVariance = meanRate2 / 3 + 0.01 + taken * taken;
  const bridge = ((2 * rateVariance) / rateTimeS) * (gapS ** 3 / 12);
  return Math.min(bridge, 2 * rateVariance * rateTimeS * gapS, unknownVariance);
}

/** The carried frame has turned by an unknown angle in a gap: what was averaged in it counts less. */
export function loseAttitude(
  params: AttitudeParams,
  state: AttitudeState,
  gapS: number,
  before: Vec3,
  after: Vec3,
): void {
  const ends = (dot(before, before) + dot(after, after)) / 2;
  const recent = state.seenS > 0 ? state.rateSum / state.seenS : 0;
  addJump(state, gapTurnVariance(params, gapS, Math.max(ends, recent)));
}

/** @param variance of the jump about each axis, rad². */
function addJump(state: AttitudeState, variance: number): void {
  state.headingVariance += variance;
  const inclination = Math.max(state.inclinationVariance, 1e-8);
  // The stated error falls about as one over the memory, so that is how the jump shortens it.
  const keep = Math.sqrt(inclination / (inclination + 2 * variance));
  for (let k = 0; k < state.first.length; k++) {
    state.first[k] = state.first[k]! * keep;
    state.second[k] = state.second[k]! * keep;
  }
  const jump = state.seenS > 0 ? Math.hypot(state.jumpSum / state.seenS, Math.sqrt(2 * variance)) : 0;
  state.kept *= keep;
  state.seenS *= keep;
  state.forceSum *= keep;
  state.rateSum *= keep;
  state.jumpSum = jump * state.seenS;
}

/** Lets the stated errors grow by one step; `average` has already taken the sample. */
export function growAttitudeErrors(
  coefficients: AttitudeCoefficients,
  state: AttitudeState,
  stepS: number,
  accel: Vec3,
  rate: Vec3,
  sensorToWorld: Quaternion,
  flags: number,
): void {
  const { params } = coefficients;
  const rate2 = rate[0] * rate[0] + rate[1] * rate[1] + rate[2] * rate[2];
  if (flags & sampleFlag.gyroClipped) {
    const hidden = clippedShare * Math.sqrt(rate2) * stepS;
    const variance = (state.hiddenTurnRad + hidden) ** 2 - state.hiddenTurnRad ** 2;
    state.hiddenTurnRad += hidden;
    // Any single axis may be the clipped one.
    addJump(state, variance / 2);
  } else state.hiddenTurnRad = 0;

  const [w, x, y, z] = sensorToWorld;
  const upX = 2 * (x * z - w * y);
  const upY = 2 * (y * z + w * x);
  const upZ = 1 - 2 * (x * x + y * y);
  const rise = accel[0] * upX + accel[1] * upY + accel[2] * upZ;
  const force2 = accel[0] * accel[0] + accel[1] * accel[1] + accel[2] * accel[2];
  let horizontal2 = Math.max(0, force2 - rise * rise);
  if (flags & sampleFlag.accelClipped) horizontal2 = Math.max(4 * horizontal2, force2);

  const weight = state.atRest ? params.restWeight : 1;
  const decay = Math.exp(-stepS / params.accelTimeS);
  const length = weight * state.sampleS;
  state.seenS = state.seenS * decay + length;
  state.forceSum = state.forceSum * decay + length * horizontal2;
  state.rateSum = state.rateSum * decay + length * rate2;
  state.jumpSum *= decay;

  const turns = state.axisTurnRad;
  turns[0] = turns[0]! + rate[0] * upX * stepS;
  turns[1] = turns[1]! + rate[1] * upY * stepS;
  turns[2] = turns[2]! + rate[2] * upZ * stepS;
  state.headingDriftRad += Math.sqrt(biasVarianceAlong(state.bias, upX, upY, upZ)) * stepS;
}

/** Puts the parts of the inclination error together. */
export function stateInclination(params: AttitudeParams, state: AttitudeState): void {
  const g = standardGravityMps2;
  const { seenS, bias } = state;
  const force2 = (state.forceSum + g * g * priorS) / (seenS + priorS);
  const averaged = params.motionTimeS / (params.motionTimeS + seenS);
  const motion = (force2 / (g * g)) * averaged * averaged;
  const jump = state.jumpSum / seenS;
  const lag = Math.min(seenS, params.accelTimeS);
  const p = bias.covariance;
  const drift = (2 / 3) * (p[0]! + p[3]! + p[5]!) * lag * lag;
  const turn2 = (state.rateSum / seenS) * params.motionTimeS ** 2 * params.gyroScaleError ** 2;
  const offset = (params.accelBiasMps2 / g) ** 2;
  state.inclinationVariance = Math.min(offset + motion + jump * jump + drift + turn2, unknownVariance);
}
