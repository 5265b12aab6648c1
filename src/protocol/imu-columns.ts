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
    for (let row = 0; row < rows; row++, at++) {
      timeS[at] = firstTimeS + row * periodS;
      if (convertRow(conversion.accel, samples, row * axes, accelMps2, 3 * at)) flags[at]! |= sampleFlag.accelClipped;
      if (gyroRadps !== null && convertRow(conversion.gyro, samples, row * axes, gyroRadps, 3 * at)) {
        flags[at]! |= sampleFlag.gyroClipped;
      }
    }
  }
  return { length, timeS, accelMps2, gyroRadps, flags };
}

/** @returns whether an axis stands at the end of the range. */
function convertRow(
  conversion: TripleConversion,
  samples: Int16Array,
  from: number,
  to: Float64Array,
  at: number,
): boolean {
  let clipped = false;
  for (let axis = 0; axis < 3; axis++) {
    const raw = samples[from + conversion.source[axis]!]!;
    to[at + axis] = raw * conversion.gain[axis]!;
    if (raw >= conversion.clipRaw || raw <= -conversion.clipRaw) clipped = true;
  }
  return clipped;
}
