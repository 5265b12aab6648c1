import { sampleFlag } from '../../../foundation/imu-block.ts';
import { type ExportColumn, numberColumn, textColumn, wholeColumn } from './export-column.ts';
import type { SampleBatch } from './sample-source.ts';

/** One sample as it is exported. */
export interface ExportedSample {
  readonly batch: SampleBatch;
  /** Row of the batch. */
  readonly at: number;
  readonly session: string;
  readonly player: string;
  readonly sensor: string;
  readonly sessionStartedS: number;
}

/** An attitude whose direction of gravity is less sure than this says little, rad: 20 degrees. */
const mostInclinationSdRad = (20 * Math.PI) / 180;

const axes = ['x', 'y', 'z'] as const;
const parts = ['w', 'x', 'y', 'z'] as const;

/** @returns attitude of a sample, or null where it is not known. */
export function attitudeOf({ sensorToRoom, inclinationSdRad }: SampleBatch, at: number): readonly number[] | null {
  // Written this way round because a comparison with NaN is false.
  if (sensorToRoom === null || !((inclinationSdRad[at] ?? Number.NaN) <= mostInclinationSdRad)) return null;
  return [...sensorToRoom.subarray(4 * at, 4 * at + 4)];
}

const attitudeMethod =
  'gyroscope carried on, its direction of gravity corrected by the mean force over seconds (Laidig and Seel 2023); without a compass';

/** Columns of the samples. Their first seven are those of a CSV recording, so that a file can be analysed as it is. */
export const sampleColumns: readonly ExportColumn<ExportedSample>[] = [
  numberColumn(
    't_s',
    's',
    'instant of the sample, seconds since the start of the session, on one clock for all sensors of it',
    ({ batch, at, sessionStartedS }) => (batch.hostS[at] ?? 0) - sessionStartedS,
    { method: "the sensor's ticks, carried to the host's clock by a line through the whole stream" },
  ),
  ...axes.map((axis, k) =>
    numberColumn<ExportedSample>(
      `a${axis}_mps2`,
      'm/s^2',
      `specific force along ${axis} of the sensor; at rest the three read g upward`,
      ({ batch, at }) => batch.accelMps2[3 * at + k] ?? null,
      { method: 'reading; calibrated where the table of sensors says so' },
    ),
  ),
  ...axes.map((axis, k) =>
    numberColumn<ExportedSample>(
      `g${axis}_radps`,
      'rad/s',
      `rate of turn about ${axis} of the sensor, by the right-hand rule; empty without a gyroscope`,
      ({ batch, at }) => batch.gyroRadps?.[3 * at + k] ?? null,
      { method: 'reading; calibrated where the table of sensors says so' },
    ),
  ),
  ...parts.map((part, k) =>
    numberColumn<ExportedSample>(
      `quat_${part}`,
      '1',
      `${part} of the unit quaternion that turns the sensor's axes into the room's (z up, heading as at the first sample); empty where the direction of gravity is not known to 20 degrees`,
      ({ batch, at }) => attitudeOf(batch, at)?.[k] ?? null,
      { method: attitudeMethod, validRange: [-1, 1] },
    ),
  ),
  numberColumn(
    'inclination_standard_error_rad',
    'rad',
    'one standard error of the direction of gravity in that attitude, the whole angle',
    ({ batch, at }) => (attitudeOf(batch, at) === null ? null : (batch.inclinationSdRad[at] ?? null)),
    { validRange: [0, 0.35] },
  ),
  numberColumn(
    'heading_standard_error_rad',
    'rad',
    'one standard error of the heading since the first sample: without a compass it grows with time',
    ({ batch, at }) => (attitudeOf(batch, at) === null ? null : (batch.headingSdRad[at] ?? null)),
    { validRange: [0, Math.PI] },
  ),
  flagColumn(
    'accel_clipped',
    '1 where an axis of the accelerometer is at the end of its range',
    sampleFlag.accelClipped,
  ),
  flagColumn('gyro_clipped', '1 where an axis of the gyroscope is at the end of its range', sampleFlag.gyroClipped),
  flagColumn('gap_before', '1 where samples are missing between the one before and this one', sampleFlag.gapBefore),
  wholeColumn(
    'stream',
    'which stream of the sensor, as in the table of sensors',
    ({ batch }) => batch.stream.streamIndex,
  ),
  textColumn('session', 'the practice', ({ session }) => session),
  textColumn('player', 'who had the sensor, under a name made for this export', ({ player }) => player),
  textColumn('sensor', 'which sensor, under a name made for this export', ({ sensor }) => sensor),
];

function flagColumn(name: string, definition: string, flag: number): ExportColumn<ExportedSample> {
  return wholeColumn(name, definition, ({ batch, at }) => ((batch.flags[at] ?? 0) & flag ? 1 : 0), {
    validRange: [0, 1],
  });
}
