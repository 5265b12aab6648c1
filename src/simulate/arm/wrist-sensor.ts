import { standardGravityMps2 } from '../../foundation/constants.ts';
import { drawSensor, type SensorDraw, type SensorModel } from '../sensor-model.ts';
import { zero3 } from '../vectors.ts';
import type { WristMount } from './arm-player.ts';

/** Scales of a common chip family: 0.061 mg a step for each 2 g of range, 4.375 mdps for each 125 °/s (LSM6DSV). */
export function wristRanges(accelRangeG: number, gyroRangeDegps: number) {
  return {
    accelRangeMps2: accelRangeG * standardGravityMps2,
    accelScaleMps2PerLsb: (accelRangeG / 2) * 0.061e-3 * standardGravityMps2,
    gyroRangeRadps: (gyroRangeDegps * Math.PI) / 180,
    gyroScaleRadpsPerLsb: ((gyroRangeDegps / 125) * 4.375e-3 * Math.PI) / 180,
  };
}

/** The usual sensor of the ball, worn on the wrist: its place on the arm is that of the player's mount. */
export function drawWristSensor(
  seed: string | number,
  mount: WristMount,
  options: Partial<SensorDraw> = {},
): SensorModel {
  return wornSensor(drawSensor(`${seed}/wrist`, options), mount);
}

/** The same sensor in a mount. The motion of the mount is that of the sensor, so no lever is left. */
export function wornSensor(sensor: SensorModel, mount: WristMount): SensorModel {
  return { ...sensor, sensorToBall: mount.sensorToSegment, offsetM: zero3 };
}
