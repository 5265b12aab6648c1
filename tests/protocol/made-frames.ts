import type { NotificationFrame } from '../../src/protocol/notification.ts';
import type { SensorDescription } from '../../src/protocol/sensor-description.ts';

/** A ball sensor as many are: 833 Hz, 70 mdps a unit at ±2000 °/s, 0.488 mg at ±16 g, ticks of a microsecond. */
export const ballDescription: SensorDescription = {
  sensorId: '00112233445566778899aabbccddeeff',
  tickUnitS: 1e-6,
  accelRateHz: 833,
  gyroRateHz: 833,
  accelScaleMps2PerLsb: 0.488e-3 * 9.80665,
  gyroScaleRadpsPerLsb: (0.07 * Math.PI) / 180,
  accelRangeMps2: 16 * 9.80665,
  gyroRangeRadps: (2000 * Math.PI) / 180,
  filterDelayS: 0.0012,
  accelAxes: [1, 2, 3],
  gyroAxes: [1, 2, 3],
  placement: 'ball',
  firmwareVersion: { major: 1, minor: 0, patch: 0 },
};

/** Two rows in the full form. */
export const fullFrame: NotificationFrame = {
  form: 'full',
  startNumber: 7,
  sequence: 4711,
  tick: 123_456_789,
  sampleIndex: 23_555,
  axes: 6,
  samples: Int16Array.of(1, 2, 3, 4, 5, 6, -7, -8, -9, -10, -11, -12),
};

export interface StreamShape {
  readonly form: 'full' | 'short';
  readonly axes: 6 | 3;
  readonly rows: number;
  readonly startNumber: number;
  readonly ticksPerRow: number;
  readonly firstSequence: number;
  readonly firstIndex: number;
  readonly firstTick: number;
}

export const plainStream: StreamShape = {
  form: 'full',
  axes: 6,
  rows: 5,
  startNumber: 3,
  ticksPerRow: 5013.7,
  firstSequence: 0,
  firstIndex: 0,
  firstTick: 40_000,
};

/** @returns packet `at` of an undisturbed stream; its rows carry their own index, so that a test can tell them apart. */
export function streamFrame(shape: StreamShape, at: number): NotificationFrame {
  const rows = shape.form === 'short' ? 1 : shape.rows;
  const index = shape.firstIndex + at * rows;
  const sequence = (shape.firstSequence + at) % 65_536;
  return {
    form: shape.form,
    startNumber: shape.form === 'short' ? null : shape.startNumber,
    sequence,
    tick: Math.round(shape.firstTick + at * rows * shape.ticksPerRow) % 2 ** 32,
    sampleIndex: shape.form === 'short' ? sequence : index % 2 ** 32,
    axes: shape.axes,
    samples: Int16Array.from({ length: rows * shape.axes }, (_, k) => index + Math.floor(k / shape.axes)),
  };
}
