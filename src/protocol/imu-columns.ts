import { SeamwiseError } from '../foundation/errors.ts';
import { type ImuBlock, sampleFlag } from '../foundation/imu-block.ts';
import type { NotificationFrame } from './notification.ts';
import type { AxisMap, SensorDescription } from './sensor-description.ts';

/** A frame with the instants of its rows, from the sensor clock. */
export interface TimedFrame {
  readonly frame: NotificationFrame;
  /** Recording time of the first row. */
  readonly firstTimeS: number;
  /** Time from row to row. */
  readonly periodS: number;
  /** Whether rows are missing before it. */
  readonly gapBefore: boolean;
}

/** Derived once from a sensor description: how raw rows become SI columns in the right-handed sensor frame. */
export interface ColumnConversion {
  readonly hasGyro: boolean;
  readonly accel: TripleConversion;
  readonly gyro: TripleConversion;
}

interface TripleConversion {
  /** Which raw number of a row goes to x, y, z. */
  readonly source: readonly [number, number, number];
  /** SI per raw unit with the sign of the axis. */
  readonly gain: readonly [number, number, number];
  /** A raw number of at least this size stands at the end of the range. */
  readonly clipRaw: number;
}

const maxInt16 = 32_767;

export function deriveColumnConversion(description: SensorDescription): ColumnConversion {
  const { gyroScaleRadpsPerLsb: gyroScale, gyroRangeRadps: gyroRange } = description;
  return {
    hasGyro: gyroScale !== null,
    accel: triple(description.accelAxes, 0, description.accelScaleMps2PerLsb, description.accelRangeMps2),
    gyro: triple(description.gyroAxes, 3, gyroScale ?? 0, gyroRange ?? Number.POSITIVE_INFINITY),
  };
}

function triple(axes: AxisMap, offset: number, scale: number, range: number): TripleConversion {
  const [x, y, z] = axes;
  return {
    source: [offset + Math.abs(x) - 1, offset + Math.abs(y) - 1, offset + Math.abs(z) - 1],
    gain: [Math.sign(x) * scale, Math.sign(y) * scale, Math.sign(z) * scale],
    // The tiny allowance keeps a range of a whole number of units whole after the change of units.
    clipRaw: Math.min(maxInt16, Math.floor((range / scale) * (1 + 1e-9))),
  };
}

/**
 * Turns frames into one block of columns. Filter delay is not taken out: times are those of the sensor's own stamps.
 *
 * @throws SeamwiseError `frame-axes` when a frame has other axes than the description says.
 */
export function framesToImuBlock(conversion: ColumnConversion, frames: readonly TimedFrame[]): ImuBlock {
  const axes = conversion.hasGyro ? 6 : 3;
  let length = 0;
  for (const { frame } of frames) {
    if (frame.axes !== axes) {
      throw new SeamwiseError(
        'frame-axes',
        `packet ${frame.sequence}: expected ${axes} numbers a row as the sensor description says, came ${frame.axes}; read the description again`,
      );
    }
    length += frame.samples.length / axes;
  }
  const timeS = new Float64Array(length);
  const accelMps2 = new Float64Array(3 * length);
  const gyroRadps = conversion.hasGyro ? new Float64Array(3 * length) : null;
  const flags = new Uint8Array(length);
  let at = 0;
  for (const { frame, firstTimeS, periodS, gapBefore } of frames) {
    const { samples } = frame;
    const rows = samples.length / axes;
    if (gapBefore) flags[at]! |= sampleFlag.gapBefore;
    for (let row = 0; row < rows; row++) timeS[at + row] = firstTimeS + row * periodS;
    convertRows(conversion.accel, samples, axes, accelMps2, at, flags, sampleFlag.accelClipped);
    if (gyroRadps !== null) {
      convertRows(conversion.gyro, samples, axes, gyroRadps, at, flags, sampleFlag.gyroClipped);
    }
    at += rows;
  }
  return { length, timeS, accelMps2, gyroRadps, flags };
}

/** Converts one triple of all rows, and flags those of which an axis stands at the end of the range. */
function convertRows(
  { source, gain, clipRaw }: TripleConversion,
  samples: Int16Array,
  axes: number,
  to: Float64Array,
  first: number,
  flags: Uint8Array,
  clipped: number,
): void {
  const [sx, sy, sz] = source;
  const [gx, gy, gz] = gain;
  let at = first;
  for (let from = 0; from < samples.length; from += axes, at++) {
    const x = samples[from + sx]!;
    const y = samples[from + sy]!;
    const z = samples[from + sz]!;
    to[3 * at] = x * gx;
    to[3 * at + 1] = y * gy;
    to[3 * at + 2] = z * gz;
    const most = Math.max(Math.abs(x), Math.abs(y), Math.abs(z));
    if (most >= clipRaw) flags[at]! |= clipped;
  }
}
