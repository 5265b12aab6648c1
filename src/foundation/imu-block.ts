/**
 * A run of inertial samples in columns, the one form in which motion data travels between layers.
 *
 * Intervals of samples are half-open `[start, end)`. Validity is a mask (`flags`), never a special value.
 */
export interface ImuBlock {
  /** Number of samples, n. */
  readonly length: number;
  /** Sample instants in seconds of the recording's own clock, strictly increasing, n values. */
  readonly timeS: Float64Array;
  /** Specific force in the sensor's axes, m/s², interleaved x y z, 3n values. At rest it reads +g upward. */
  readonly accelMps2: Float64Array;
  /** Angular rate in the sensor's axes, rad/s, interleaved x y z, 3n values; null when the sensor has no gyroscope. */
  readonly gyroRadps: Float64Array | null;
  /** One byte a sample, an OR of `sampleFlag` values. */
  readonly flags: Uint8Array;
}

/** Bits of `ImuBlock.flags`. */
export const sampleFlag = {
  /** At least one accelerometer axis is at the end of its range. */
  accelClipped: 1,
  /** At least one gyroscope axis is at the end of its range. */
  gyroClipped: 2,
  /** Samples are missing between the previous sample and this one. */
  gapBefore: 4,
} as const;

/** What is known of the sensor that gave a stream, as far as the analysis needs it. SI units. */
export interface SensorTraits {
  /** Nominal sample rate; the true one is estimated from the data. */
  readonly nominalRateHz: number;
  /** End of the accelerometer's range, or null when unknown. */
  readonly accelRangeMps2: number | null;
  /** End of the gyroscope's range, or null when unknown or without gyroscope. */
  readonly gyroRangeRadps: number | null;
  /** Group delay of the sensor's own low-pass filter; time stamps are later than the motion by this much. */
  readonly filterDelayS: number;
}

/**
 * Joins blocks end to end into one.
 *
 * @param blocks blocks of one stream in order; either all or none with a gyroscope.
 * @throws RangeError when blocks with and without a gyroscope are mixed.
 */
export function concatImuBlocks(blocks: readonly ImuBlock[]): ImuBlock {
  let length = 0;
  for (const block of blocks) length += block.length;
  const hasGyro = blocks.length > 0 && blocks.every((block) => block.gyroRadps !== null);
  if (!hasGyro && blocks.some((block) => block.gyroRadps !== null)) {
    throw new RangeError('blocks with and without a gyroscope cannot be joined: expected all of one kind');
  }
  const timeS = new Float64Array(length);
  const accelMps2 = new Float64Array(3 * length);
  const gyroRadps = hasGyro ? new Float64Array(3 * length) : null;
  const flags = new Uint8Array(length);
  let at = 0;
  for (const block of blocks) {
    timeS.set(block.timeS.subarray(0, block.length), at);
    accelMps2.set(block.accelMps2.subarray(0, 3 * block.length), 3 * at);
    if (gyroRadps && block.gyroRadps) gyroRadps.set(block.gyroRadps.subarray(0, 3 * block.length), 3 * at);
    flags.set(block.flags.subarray(0, block.length), at);
    at += block.length;
  }
  return { length, timeS, accelMps2, gyroRadps, flags };
}
