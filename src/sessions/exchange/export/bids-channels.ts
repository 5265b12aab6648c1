/** Channels of a BIDS motion recording (Brain Imaging Data Structure 1.9.0, "Motion"), in the order of its columns. */
import { sampleFlag } from '../../../foundation/imu-block.ts';
import { attitudeOf } from './sample-columns.ts';
import type { RecordedStream, SampleBatch } from './sample-source.ts';

export interface BidsChannel {
  readonly name: string;
  readonly component: 'x' | 'y' | 'z' | 'quat_w' | 'quat_x' | 'quat_y' | 'quat_z' | 'n/a';
  readonly type: 'ACCEL' | 'GYRO' | 'ORNT' | 'LATENCY' | 'MISC';
  readonly units: string;
  readonly referenceFrame: 'sensor' | 'room' | 'n/a';
  readonly description: string;
  /** @param onsetS host time of the first sample of the file. */
  readonly cell: (batch: SampleBatch, at: number, onsetS: number) => number | null;
}

const axes = ['x', 'y', 'z'] as const;

/** @returns the channels that a sensor has. */
export function bidsChannels({
  hasGyro,
  filterDelayS,
}: Pick<RecordedStream, 'hasGyro' | 'filterDelayS'>): readonly BidsChannel[] {
  const delayed = `the filter of the sensor delays it by ${filterDelayS} s`;
  const latency: BidsChannel = {
    name: 'latency',
    component: 'n/a',
    type: 'LATENCY',
    units: 's',
    referenceFrame: 'n/a',
    description: 'time since the first sample of this file',
    cell: ({ hostS }, at, onsetS) => Math.round(((hostS[at] ?? onsetS) - onsetS) * 1e6) / 1e6,
  };
  const accel = axes.map((axis, k): BidsChannel => {
    return {
      name: `accel_${axis}`,
      component: axis,
      type: 'ACCEL',
      units: 'm/s^2',
      referenceFrame: 'sensor',
      description: `specific force, at rest g upward; ${delayed}`,
      cell: ({ accelMps2 }, at) => accelMps2[3 * at + k] ?? null,
    };
  });
  const gyro = axes.map((axis, k): BidsChannel => {
    return {
      name: `gyro_${axis}`,
      component: axis,
      type: 'GYRO',
      units: 'rad/s',
      referenceFrame: 'sensor',
      description: `rate of turn by the right-hand rule; ${delayed}`,
      cell: ({ gyroRadps }, at) => gyroRadps?.[3 * at + k] ?? null,
    };
  });
  const attitude = (['quat_w', 'quat_x', 'quat_y', 'quat_z'] as const).map((component, k): BidsChannel => {
    return {
      name: `attitude_${component}`,
      component,
      type: 'ORNT',
      units: 'n/a',
      referenceFrame: 'room',
      description:
        'unit quaternion from the axes of the sensor to those of the room; n/a where it is not known to 20 degrees',
      cell: (batch, at) => attitudeOf(batch, at)?.[k] ?? null,
    };
  });
  const misc = (name: string, units: string, description: string, cell: BidsChannel['cell']): BidsChannel => ({
    name,
    component: 'n/a',
    type: 'MISC',
    units,
    referenceFrame: 'n/a',
    description,
    cell,
  });
  const flag = (name: string, bit: number, description: string) =>
    misc(name, 'n/a', description, ({ flags }, at) => ((flags[at] ?? 0) & bit ? 1 : 0));
  const known = (column: (batch: SampleBatch) => Float64Array): BidsChannel['cell'] => {
    return (batch, at) => (attitudeOf(batch, at) === null ? null : (column(batch)[at] ?? null));
  };
  const errors = [
    misc(
      'inclination_error',
      'rad',
      'one standard error of the direction of gravity in the attitude',
      known((b) => b.inclinationSdRad),
    ),
    misc(
      'heading_error',
      'rad',
      'one standard error of the heading since the first sample',
      known((b) => b.headingSdRad),
    ),
  ];
  return [
    latency,
    ...accel,
    ...(hasGyro ? [...gyro, ...attitude, ...errors] : []),
    flag('accel_clipped', sampleFlag.accelClipped, '1 where the accelerometer is at the end of its range'),
    ...(hasGyro
      ? [flag('gyro_clipped', sampleFlag.gyroClipped, '1 where the gyroscope is at the end of its range')]
      : []),
    flag('gap_before', sampleFlag.gapBefore, '1 where samples are missing between the one before and this one'),
  ];
}
