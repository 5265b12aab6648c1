import type { AttitudeParams } from './attitude-params.ts';
import type { RestState } from './attitude-state.ts';

/**
 * Whether a sensor lies still: angular rate and specific force stay near their own recent means for a while.
 *
 * Idea of Laidig and Seel 2023, Information Fusion 91:187, section 3.5. Deviations from it:
 * 1. The mean is two equal first-order stages, normalised by the weight seen, for uneven steps.
 * 2. The squared deviations are averaged over a fifth of the mean's time, so that a single noisy sample ends no rest.
 * Start-up: no rest before `restTimeS`. Latency: `restTimeS` into a rest, a few samples out of it.
 *
 * Changes `state`; the mean rate at rest is read by `meanRate`.
 *
 * @param stepS time that the sample stands for, above 0.
 * @param gap samples are missing before this one: the stillness starts anew.
 * @returns whether the sensor is at rest.
 */
export function stepRest(
  params: AttitudeParams,
  state: RestState,
  stepS: number,
  gap: boolean,
  gyro: readonly [number, number, number],
  accel: readonly [number, number, number],
): boolean {
  const { first, second } = state;
  if (gap) {
    first.fill(0);
    second.fill(0);
    state.stillS = 0;
  }
  const share = 1 - Math.exp((-2 * stepS) / params.restFilterTimeS);
  for (let k = 0; k < 7; k++) {
    const value = k === 0 ? 1 : k < 4 ? gyro[k - 1]! : accel[k - 4]!;
    first[k] = first[k]! + share * (value - first[k]!);
    second[k] = second[k]! + share * (first[k]! - second[k]!);
  }
  const weight = second[0]!;
  let gyroDeviation = 0;
  let accelDeviation = 0;
  let largest = 0;
  for (let k = 0; k < 3; k++) {
    const rate = second[k + 1]! / weight;
    largest = Math.max(largest, Math.abs(rate));
    gyroDeviation += (gyro[k]! - rate) ** 2;
    accelDeviation += (accel[k]! - second[k + 4]! / weight) ** 2;
  }
  const quick = 1 - Math.exp((-5 * stepS) / params.restFilterTimeS);
  state.gyroDeviation += quick * (gyroDeviation - state.gyroDeviation);
  state.accelDeviation += quick * (accelDeviation - state.accelDeviation);
  const still =
    state.gyroDeviation < params.restGyroRadps ** 2 &&
    state.accelDeviation < params.restAccelMps2 ** 2 &&
    largest < params.biasLimitRadps;
  state.stillS = still ? state.stillS + (gap ? 0 : stepS) : 0;
  return state.stillS >= params.restTimeS;
}

/** @returns the mean angular rate of the recent samples, rad/s, in the sensor's axes. */
export function meanRate(state: RestState): [number, number, number] {
  const weight = state.second[0]!;
  return [state.second[1]! / weight, state.second[2]! / weight, state.second[3]! / weight];
}
