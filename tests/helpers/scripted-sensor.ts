import type { ImuBlock } from '../../src/foundation/imu-block.ts';
import { conjugate, fromRotationVector, multiply, type Quaternion, rotate } from '../../src/signal/rotation.ts';
import { cross, dot, norm, scale, unit, type Vec3 } from '../../src/signal/vec3.ts';
import { uniformFrom } from '../signal/simulated-sensor-clock.ts';

/** What is done with the sensor, one after another. */
export type Act =
  | { readonly lieS: number }
  /** Laid so that this direction of its own points up. */
  | { readonly lay: Vec3; readonly inS: number }
  /** Turned about the upright, positive counter-clockwise seen from above. */
  | { readonly turnDegrees: number; readonly inS: number };

export interface SensorErrors {
  readonly accelBiasMps2: Vec3;
  readonly accelScale: Vec3;
  readonly gyroBiasRadps: Vec3;
  readonly gyroScale: Vec3;
  readonly accelNoiseMps2: number;
  readonly gyroNoiseRadps: number;
}

export const noErrors: SensorErrors = {
  accelBiasMps2: [0, 0, 0],
  accelScale: [1, 1, 1],
  gyroBiasRadps: [0, 0, 0],
  gyroScale: [1, 1, 1],
  accelNoiseMps2: 0.03,
  gyroNoiseRadps: 0.0012,
};

/** A sensor on a table, in the hands of somebody who calibrates it; its readings as one block. */
export function scripted(acts: readonly Act[], errors: SensorErrors, rateHz = 200, seed = 1): ImuBlock {
  const uniform = uniformFrom(seed);
  const normal = () => Math.sqrt(-2 * Math.log(1 - uniform())) * Math.cos(2 * Math.PI * uniform());
  const accel: number[] = [];
  const gyro: number[] = [];
  /** Turns sensor axes into the room's. */
  let attitude: Quaternion = [1, 0, 0, 0];
  const sample = (rateRoomRadps: Vec3, shake: number): void => {
    const toSensor = conjugate(attitude);
    const force = rotate(toSensor, [shake * normal(), shake * normal(), 9.80665 + shake * normal()]);
    const rate = rotate(toSensor, rateRoomRadps);
    for (let axis = 0; axis < 3; axis++) {
      accel.push(
        errors.accelBiasMps2[axis]! + errors.accelScale[axis]! * force[axis]! + errors.accelNoiseMps2 * normal(),
      );
      gyro.push(errors.gyroBiasRadps[axis]! + errors.gyroScale[axis]! * rate[axis]! + errors.gyroNoiseRadps * normal());
    }
  };
  const move = (vector: Vec3, inS: number): void => {
    const steps = Math.round(inS * rateHz);
    for (let at = 0; at < steps; at++) {
      // Smooth start and end.
      const share = (1 - Math.cos((2 * Math.PI * (at + 0.5)) / steps)) / steps;
      sample(scale(vector, share * rateHz), 0.3);
      attitude = multiply(fromRotationVector(scale(vector, share)), attitude);
    }
  };
  for (const act of acts) {
    if ('lieS' in act) {
      for (let at = 0; at < act.lieS * rateHz; at++) sample([0, 0, 0], 0);
    } else if ('turnDegrees' in act) {
      move([0, 0, (act.turnDegrees * Math.PI) / 180], act.inS);
    } else {
      const from = rotate(attitude, unit(act.lay));
      const axis = norm(cross(from, [0, 0, 1])) > 1e-6 ? unit(cross(from, [0, 0, 1])) : ([1, 0, 0] as Vec3);
      move(scale(axis, Math.acos(Math.max(-1, Math.min(1, dot(from, [0, 0, 1]))))), act.inS);
    }
  }
  const length = accel.length / 3;
  return {
    length,
    timeS: Float64Array.from({ length }, (_, at) => at / rateHz),
    accelMps2: Float64Array.from(accel),
    gyroRadps: Float64Array.from(gyro),
    flags: new Uint8Array(length),
  };
}

/** The whole calibration as the guide asks for it; sides not quite upright. */
export function calibrationActs(tiltRad = 0.12): Act[] {
  const lay = (side: Vec3): Act[] => [
    { lay: [side[0] + tiltRad, side[1] - tiltRad / 2, side[2] + tiltRad / 3], inS: 1.5 },
    { lieS: 3 },
  ];
  const turns = (side: Vec3): Act[] => [
    ...lay(side),
    { turnDegrees: 360, inS: 5 },
    { lieS: 3 },
    { turnDegrees: -360, inS: 5 },
    { lieS: 3 },
  ];
  return [
    { lieS: 3 },
    ...lay([0, 0, -1]),
    ...lay([1, 0, 0]),
    ...lay([-1, 0, 0]),
    ...lay([0, 1, 0]),
    ...lay([0, -1, 0]),
    ...lay([1, 1, 1]),
    ...lay([-1, 1, -1]),
    ...turns([1, 0, 0]),
    ...turns([0, 1, 0]),
    ...turns([0, 0, 1]),
  ];
}
