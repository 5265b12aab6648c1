import type { ImuBlock } from '../foundation/imu-block.ts';
import type { Vec3 } from '../signal/vec3.ts';

/** What a calibration corrects: true value = (reading − bias) / scale, axis by axis. */
export interface SensorCorrection {
  readonly accelBiasMps2: Vec3;
  readonly accelScale: Vec3;
  /** Null where the gyroscope was not calibrated. */
  readonly gyro: { readonly biasRadps: Vec3; readonly scale: Vec3 } | null;
}

/**
 * Applies a calibration to a block's columns. Each sample is corrected for itself, so any split of a stream gives the same.
 * Flags stay: a sample at the end of the range is one whatever was calibrated.
 */
export function correctBlock({ accelBiasMps2, accelScale, gyro }: SensorCorrection, block: ImuBlock): ImuBlock {
  return {
    ...block,
    accelMps2: correctColumn(block.accelMps2, accelBiasMps2, accelScale),
    gyroRadps:
      block.gyroRadps === null || gyro === null
        ? block.gyroRadps
        : correctColumn(block.gyroRadps, gyro.biasRadps, gyro.scale),
  };
}

function correctColumn(readings: Float64Array, bias: Vec3, scale: Vec3): Float64Array {
  const corrected = new Float64Array(readings.length);
  for (let at = 0; at < readings.length; at++) {
    const axis = at % 3;
    corrected[at] = (readings[at]! - bias[axis]!) / scale[axis]!;
  }
  return corrected;
}
