/**
 * The sensor description: a document that a host reads once a connection, before the stream makes sense.
 * Bytes ↔ values, exactly as firmware-protocol/README.md lays it out.
 *
 *     const bytes = encodeSensorDescription({ ...values });       // the sensor's (or the simulator's) side
 *     const description = decodeSensorDescription(bytes);         // the host's side; throws when it makes no sense
 *
 * Values are SI here. On the wire scales stand in nano-g and nano-degrees per second, as datasheets print them, so
 * `decode(encode(x))` gives x to within half a wire unit, and `encode(decode(bytes))` gives the same bytes.
 */
import { standardGravityMps2 } from '../foundation/constants.ts';
import { SeamwiseError } from '../foundation/errors.ts';
import type { SensorTraits } from '../foundation/imu-block.ts';
import { crc16 } from './checksum.ts';

export const descriptionVersion = 1;
/** Bytes of a version 1 description. A longer one has fields added at the end that this version does not know. */
export const descriptionBytes = 68;

export const placements = ['unspecified', 'ball', 'wrist-forearm', 'back-of-hand'] as const;
export type Placement = (typeof placements)[number];

/** A raw axis with its sign: 2 is the raw y axis, −3 the raw z axis turned around. */
export type AxisCode = 1 | 2 | 3 | -1 | -2 | -3;
/** Where the x, y and z of the right-handed sensor frame come from. */
export type AxisMap = readonly [AxisCode, AxisCode, AxisCode];

/** What a sensor says about itself. */
export interface SensorDescription {
  /** 128 random bits as 32 lower-case hex digits; drawn once a sensor and kept. */
  readonly sensorId: string;
  /** Length of a device tick. */
  readonly tickUnitS: number;
  /** Nominal rates; the true rate is estimated from the stream. */
  readonly accelRateHz: number;
  /** Equal to `accelRateHz`, or null when the sensor has no gyroscope. */
  readonly gyroRateHz: number | null;
  readonly accelScaleMps2PerLsb: number;
  readonly gyroScaleRadpsPerLsb: number | null;
  /** Nominal end of the range: a raw value at or beyond it counts as clipped. Not the scale times 32768. */
  readonly accelRangeMps2: number;
  readonly gyroRangeRadps: number | null;
  /** Group delay of the sensor's low-pass filter; ticks are later than the motion by this much. */
  readonly filterDelayS: number;
  /** Where the accelerometer's right-handed x, y, z come from; after the map the reading at rest is +g upward. */
  readonly accelAxes: AxisMap;
  /** The same for the gyroscope; after the map a turn by the right-hand rule reads positive. */
  readonly gyroAxes: AxisMap;
  readonly placement: Placement;
  readonly firmwareVersion: { readonly major: number; readonly minor: number; readonly patch: number };
}

const gToMps2 = standardGravityMps2;
const degToRad = Math.PI / 180;

/** Least and greatest wire value of each number; a field of a sensor without gyroscope is 0 besides. */
export const descriptionLimits = {
  tickUnitPs: [1_000, 4_000_000_000],
  rateMilliHz: [1_000, 10_000_000],
  scaleNano: [1, 4_000_000_000],
  accelRangeMilliG: [100, 1_000_000],
  gyroRangeMilliDps: [1_000, 100_000_000],
  filterDelayUs: [0, 1_000_000],
} as const;
const limits = descriptionLimits;
type Limits = (typeof limits)[keyof typeof limits];
const absent = [0, 0] as const;

/**
 * @returns the bytes of the document.
 * @throws SeamwiseError `description-field` for a value that does not fit its field.
 */
export function encodeSensorDescription(description: SensorDescription): Uint8Array {
  const d = description;
  const bytes = new Uint8Array(descriptionBytes);
  const view = new DataView(bytes.buffer);
  const hasGyro = d.gyroRateHz !== null;
  if (hasGyro !== (d.gyroScaleRadpsPerLsb !== null) || hasGyro !== (d.gyroRangeRadps !== null)) {
    rejectField('gyroRateHz, gyroScaleRadpsPerLsb, gyroRangeRadps', 'all three or all three null', 'a mixture');
  }
  if (hasGyro && d.gyroRateHz !== d.accelRateHz) {
    rejectField('gyroRateHz', `the accelerometer's rate, ${d.accelRateHz} Hz, or null`, d.gyroRateHz);
  }
  bytes[0] = descriptionVersion;
  bytes[1] = descriptionBytes;
  if (!/^[0-9a-f]{32}$/.test(d.sensorId)) rejectField('sensorId', '32 lower-case hex digits', d.sensorId);
  for (let at = 0; at < 16; at++) bytes[4 + at] = Number.parseInt(d.sensorId.slice(2 * at, 2 * at + 2), 16);
  const put = (at: number, name: string, value: number, perUnit: number, [min, max]: Limits | typeof absent): void => {
    const wire = Math.round(value * perUnit);
    if (!(wire >= min && wire <= max)) rejectField(name, `${min / perUnit} to ${max / perUnit}`, value);
    view.setUint32(at, wire, true);
  };
  put(20, 'tickUnitS', d.tickUnitS, 1e12, limits.tickUnitPs);
  put(24, 'accelRateHz', d.accelRateHz, 1e3, limits.rateMilliHz);
  put(28, 'gyroRateHz', d.gyroRateHz ?? 0, 1e3, hasGyro ? limits.rateMilliHz : absent);
  put(32, 'accelScaleMps2PerLsb', d.accelScaleMps2PerLsb, 1e9 / gToMps2, limits.scaleNano);
  put(36, 'gyroScaleRadpsPerLsb', d.gyroScaleRadpsPerLsb ?? 0, 1e9 / degToRad, hasGyro ? limits.scaleNano : absent);
  put(40, 'accelRangeMps2', d.accelRangeMps2, 1e3 / gToMps2, limits.accelRangeMilliG);
  put(44, 'gyroRangeRadps', d.gyroRangeRadps ?? 0, 1e3 / degToRad, hasGyro ? limits.gyroRangeMilliDps : absent);
  put(48, 'filterDelayS', d.filterDelayS, 1e6, limits.filterDelayUs);
  putAxes(view, 52, 'accelAxes', d.accelAxes);
  putAxes(view, 55, 'gyroAxes', d.gyroAxes);
  const placement = placements.indexOf(d.placement);
  if (placement < 0) rejectField('placement', placements.join(', '), d.placement);
  bytes[58] = placement;
  const { major, minor, patch } = d.firmwareVersion;
  for (const [offset, part] of [major, minor, patch].entries()) {
    if (!(Number.isInteger(part) && part >= 0 && part <= 255)) {
      rejectField('firmwareVersion', 'whole numbers from 0 to 255', `${major}.${minor}.${patch}`);
    }
    bytes[60 + offset] = part;
  }
  view.setUint16(descriptionBytes - 2, crc16(bytes, 0, descriptionBytes - 2), true);
  return bytes;
}

/**
 * @returns the values in the bytes of a description, frozen. Fields added behind the known ones are passed over.
 * @throws SeamwiseError `description-length`, `description-version`, `description-reserved`, `description-value` or
 *   `description-checksum`; the message names field, expectation and finding.
 */
export function decodeSensorDescription(bytes: Uint8Array): SensorDescription {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  if (bytes.length < 2) {
    throw new SeamwiseError(
      'description-length',
      `sensor description: expected ${descriptionBytes} bytes, ${bytes.length} came`,
    );
  }
  if (bytes[0] !== descriptionVersion) {
    throw new SeamwiseError(
      'description-version',
      `sensor description: expected version ${descriptionVersion}, byte 0 says ${bytes[0]}; a newer program may know it`,
    );
  }
  const length = bytes[1]!;
  if (length < descriptionBytes || bytes.length !== length) {
    throw new SeamwiseError(
      'description-length',
      `sensor description: expected at least ${descriptionBytes} bytes and as many as byte 1 says; it says ${length}, ${bytes.length} came`,
    );
  }
  const stored = view.getUint16(length - 2, true);
  const computed = crc16(bytes, 0, length - 2);
  if (stored !== computed) {
    throw new SeamwiseError(
      'description-checksum',
      `sensor description: the last two bytes say checksum ${stored}, the rest gives ${computed}; read it again`,
    );
  }
  const reserved = [2, 3, 59, 63, 64, 65].find((at) => bytes[at] !== 0);
  if (reserved !== undefined) {
    throw new SeamwiseError(
      'description-reserved',
      `sensor description: expected 0 in reserved byte ${reserved}, came ${bytes[reserved]}; a newer program may know it`,
    );
  }
  const take = (at: number, name: string, [min, max]: Limits | typeof absent): number => {
    const wire = view.getUint32(at, true);
    if (wire < min || wire > max) rejectValue(at, name, `${min} to ${max}`, wire);
    return wire;
  };
  const accelRateMilliHz = take(24, 'accelerometer rate', limits.rateMilliHz);
  const hasGyro = view.getUint32(28, true) !== 0;
  const gyroRateMilliHz = take(28, 'gyroscope rate', hasGyro ? limits.rateMilliHz : absent);
  if (hasGyro && gyroRateMilliHz !== accelRateMilliHz) {
    rejectValue(28, 'gyroscope rate', `0 or the accelerometer's ${accelRateMilliHz} mHz`, gyroRateMilliHz);
  }
  const gyroScaleNano = take(36, 'gyroscope scale', hasGyro ? limits.scaleNano : absent);
  const gyroRangeMilliDps = take(44, 'gyroscope range', hasGyro ? limits.gyroRangeMilliDps : absent);
  const placement = placements[bytes[58]!];
  if (placement === undefined) rejectValue(58, 'placement', `0 to ${placements.length - 1}`, bytes[58]!);
  return Object.freeze({
    sensorId: Array.from(bytes.subarray(4, 20), (byte) => byte.toString(16).padStart(2, '0')).join(''),
    tickUnitS: take(20, 'tick unit', limits.tickUnitPs) / 1e12,
    accelRateHz: accelRateMilliHz / 1e3,
    gyroRateHz: hasGyro ? gyroRateMilliHz / 1e3 : null,
    accelScaleMps2PerLsb: (take(32, 'accelerometer scale', limits.scaleNano) / 1e9) * gToMps2,
    gyroScaleRadpsPerLsb: hasGyro ? (gyroScaleNano / 1e9) * degToRad : null,
    accelRangeMps2: (take(40, 'accelerometer range', limits.accelRangeMilliG) / 1e3) * gToMps2,
    gyroRangeRadps: hasGyro ? (gyroRangeMilliDps / 1e3) * degToRad : null,
    filterDelayS: take(48, 'filter delay', limits.filterDelayUs) / 1e6,
    accelAxes: takeAxes(view, 52, 'accelerometer axes'),
    gyroAxes: takeAxes(view, 55, 'gyroscope axes'),
    placement,
    firmwareVersion: Object.freeze({ major: bytes[60]!, minor: bytes[61]!, patch: bytes[62]! }),
  });
}

/** @returns what the analysis needs to know of the sensor. */
export function sensorTraits(description: SensorDescription): SensorTraits {
  return Object.freeze({
    nominalRateHz: description.accelRateHz,
    accelRangeMps2: description.accelRangeMps2,
    gyroRangeRadps: description.gyroRangeRadps,
    filterDelayS: description.filterDelayS,
  });
}

function isAxisMap(axes: readonly number[]): boolean {
  return axes.length === 3 && [1, 2, 3].every((raw) => axes.some((code) => code === raw || code === -raw));
}

function putAxes(view: DataView, at: number, name: string, axes: AxisMap): void {
  if (!isAxisMap(axes)) rejectField(name, 'each of 1, 2, 3 once, with or without a minus', `[${axes.join(', ')}]`);
  for (let axis = 0; axis < 3; axis++) view.setInt8(at + axis, axes[axis]!);
}

function takeAxes(view: DataView, at: number, name: string): AxisMap {
  const axes = [view.getInt8(at), view.getInt8(at + 1), view.getInt8(at + 2)];
  if (!isAxisMap(axes)) rejectValue(at, name, 'each of 1, 2, 3 once, with or without a minus', `[${axes.join(', ')}]`);
  return Object.freeze(axes) as unknown as AxisMap;
}

function rejectField(name: string, expected: string, came: unknown): never {
  throw new SeamwiseError(
    'description-field',
    `${name} of a sensor description: expected ${expected}, came ${String(came)}`,
  );
}

function rejectValue(at: number, name: string, expected: string, came: unknown): never {
  throw new SeamwiseError(
    'description-value',
    `sensor description, byte ${at}, ${name}: expected ${expected}, came ${String(came)}`,
  );
}
