import type { SensorCalibration } from '../../sessions/sensor-calibrations.ts';
import type { CalibrationResult } from '../../signal/calibration-guide.ts';

/** @returns what a calibration found, as it is kept. */
export function storedCalibration(
  sensorId: string,
  { accel, gyro, checkErrorsMps2 }: CalibrationResult,
  madeAtS: number,
): SensorCalibration {
  return {
    sensorId,
    madeAtS,
    accelBiasMps2: accel.biasMps2,
    accelBiasStandardErrorMps2: accel.biasStandardErrorMps2,
    accelScale: accel.scale,
    accelScaleStandardError: accel.scaleStandardError,
    accelCheckErrorsMps2: checkErrorsMps2,
    gyro: gyro && {
      biasRadps: gyro.biasRadps,
      scale: gyro.scale,
      scaleStandardError: gyro.scaleStandardError,
      residualsRad: gyro.residualsRad,
    },
  };
}
