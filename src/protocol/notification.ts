/**
 * One notification of the stream format, bytes ↔ values, exactly as firmware-protocol/README.md lays it out.
 *
 * A sender counts packets (`sequence`) and sample rows (`sampleIndex`) and stamps the first row with its tick counter:
 *
 *     const rows = notificationSampleCount(833, 247, 6); // how many rows a packet takes: at most 25 ms, at most the MTU
 *     const bytes = encodeNotification({ form: 'full', startNumber: 7, sequence, tick, sampleIndex, axes: 6, samples });
 *     sequence = (sequence + 1) % 65536;
 *     sampleIndex = (sampleIndex + rows) % 2 ** 32;
 *
 * `samples` are the raw int16 numbers of the chip, row by row: ax ay az gx gy gz. With ATT MTU 23 the short form holds
 * one row: `{ form: 'short', startNumber: null, sequence, tick, sampleIndex: sequence, axes: 6, samples }`.
 */
import { SeamwiseError } from '../foundation/errors.ts';
import { crc8Register, crc16 } from './checksum.ts';

export const streamVersion = 1;
export const fullHeaderBytes = 16;
export const shortHeaderBytes = 8;
/** Longest notification: what an ATT MTU of 247 carries. */
export const maxNotificationBytes = 244;
/** Longest time that one notification spans. */
export const maxPacketSpanS = 0.025;

const versionMask = 0x0f;
const shortFlag = 0x10;
const accelOnlyFlag = 0x20;
const reservedFlags = 0xc0;
const attHeaderBytes = 3;

/** The values of one notification. */
export interface NotificationFrame {
  readonly form: 'full' | 'short';
  /** Changes with every start of the sensor, 0..255; null in the short form, which does not carry it. */
  readonly startNumber: number | null;
  /** Packets since the start, modulo 65536. */
  readonly sequence: number;
  /** Device tick of the first row, u32; the sensor description says how long a tick is. */
  readonly tick: number;
  /** Rows since the start before this packet, modulo 2³²; in the short form equal to `sequence`. */
  readonly sampleIndex: number;
  /** Numbers in a row: 6 (accelerometer, gyroscope) or 3 (accelerometer only). */
  readonly axes: 6 | 3;
  /** Raw numbers of the chip, `axes` a row. */
  readonly samples: Int16Array;
}

/** Why bytes are no notification. */
export const corruptCodes = {
  'too-short': 'fewer bytes than a header and one sample',
  'too-long': 'more bytes than a notification may have',
  version: 'a version this program does not know',
  reserved: 'a reserved bit or byte is not zero',
  length: 'the length does not fit what the header says',
  'sample-count': 'the header says a sample count that no notification can have',
  checksum: 'the checksum does not fit the bytes',
  implausible: 'counters that fit nothing before or after',
  axes: 'a row layout that the sensor description does not have',
} as const;

export type CorruptCode = keyof typeof corruptCodes;

/** What became of the bytes of one notification. Damaged bytes are a value, never an exception. */
export type DecodedNotification =
  | { readonly kind: 'frame'; readonly frame: NotificationFrame }
  | {
      readonly kind: 'corrupt';
      readonly code: CorruptCode;
      /** Sequence number as it stands in the bytes (it may be damaged too), or null where it is cut off. */
      readonly sequence: number | null;
      /** What was expected and what came, without the sensor's name. */
      readonly problem: string;
    };

/**
 * How many rows a sender puts into one notification: as many as fit, but no more than 25 ms.
 *
 * @param sampleRateHz rows a second.
 * @param attMtu ATT MTU of the connection; below 31 (`axes` 3: 25) only the short form, one row, fits.
 */
export function notificationSampleCount(sampleRateHz: number, attMtu: number, axes: 6 | 3): number {
  const room = Math.min(attMtu - attHeaderBytes, maxNotificationBytes) - fullHeaderBytes;
  return Math.max(1, Math.min(Math.floor(room / (2 * axes)), Math.floor(maxPacketSpanS * sampleRateHz)));
}

/** @returns how many rows of `axes` numbers the longest notification holds: 19 of six, 38 of three. */
export function maxSamplesPerNotification(axes: 6 | 3): number {
  return Math.floor((maxNotificationBytes - fullHeaderBytes) / (2 * axes));
}

/**
 * @returns the bytes of one notification.
 * @throws SeamwiseError `notification-field` for a value that does not fit its field.
 */
export function encodeNotification(frame: NotificationFrame): Uint8Array {
  const short = frame.form === 'short';
  const { axes, samples } = frame;
  if (!short && frame.form !== 'full') reject('form', "'full' or 'short'", frame.form);
  if (axes !== 6 && axes !== 3) reject('axes', '6 or 3', axes);
  checkUint('sequence', frame.sequence, 16);
  checkUint('tick', frame.tick, 32);
  checkUint('sampleIndex', frame.sampleIndex, 32);
  const count = samples.length / axes;
  const maxCount = short ? 1 : maxSamplesPerNotification(axes);
  if (!(count >= 1 && count <= maxCount && Number.isInteger(count))) {
    reject(
      'samples',
      `1 to ${maxCount} rows of ${axes} numbers in the ${frame.form} form`,
      `${samples.length} numbers`,
    );
  }
  const headerBytes = short ? shortHeaderBytes : fullHeaderBytes;
  const bytes = new Uint8Array(headerBytes + 2 * samples.length);
  const view = new DataView(bytes.buffer);
  bytes[0] = streamVersion | (short ? shortFlag : 0) | (axes === 3 ? accelOnlyFlag : 0);
  view.setUint16(2, frame.sequence, true);
  view.setUint32(4, frame.tick, true);
  for (let at = 0; at < samples.length; at++) view.setInt16(headerBytes + 2 * at, samples[at]!, true);
  if (short) {
    if (frame.startNumber !== null) reject('startNumber', 'null in the short form', frame.startNumber);
    if (frame.sampleIndex !== frame.sequence) {
      reject('sampleIndex', `the sequence, ${frame.sequence}, in the short form`, frame.sampleIndex);
    }
    bytes[1] = shortChecksum(bytes);
  } else {
    checkUint('startNumber', frame.startNumber, 8);
    bytes[1] = frame.startNumber as number;
    view.setUint32(8, frame.sampleIndex, true);
    bytes[12] = count;
    view.setUint16(14, fullChecksum(bytes), true);
  }
  return bytes;
}

/** @returns the values in the bytes of one notification, or what is wrong with them. Never throws. */
export function decodeNotification(bytes: Uint8Array): DecodedNotification {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const sequence = bytes.length >= 4 ? view.getUint16(2, true) : null;
  const corrupt = (code: CorruptCode, problem: string): DecodedNotification => ({
    kind: 'corrupt',
    code,
    sequence,
    problem,
  });

  if (bytes.length < shortHeaderBytes) {
    return corrupt('too-short', `expected a header of at least ${shortHeaderBytes} bytes, ${bytes.length} came`);
  }
  const lead = bytes[0]!;
  const version = lead & versionMask;
  if (version !== streamVersion) {
    return corrupt(
      'version',
      `expected version ${streamVersion}, the header says ${version}; damaged, or newer than this program`,
    );
  }
  if ((lead & reservedFlags) !== 0) {
    return corrupt(
      'reserved',
      `expected reserved flags of 0, the header has flags 0x${lead.toString(16).padStart(2, '0')}`,
    );
  }
  const axes = (lead & accelOnlyFlag) !== 0 ? 3 : 6;
  const rowBytes = 2 * axes;
  if ((lead & shortFlag) !== 0) {
    const expected = shortHeaderBytes + rowBytes;
    if (bytes.length !== expected) {
      return corrupt('length', `the short form has ${expected} bytes, ${bytes.length} came`);
    }
    const checksum = shortChecksum(bytes);
    if (checksum !== bytes[1]) return corrupt('checksum', checksumProblem(bytes[1]!, checksum, 2));
    const samples = readSamples(view, shortHeaderBytes, axes);
    const tick = view.getUint32(4, true);
    return {
      kind: 'frame',
      frame: { form: 'short', startNumber: null, sequence: sequence!, tick, sampleIndex: sequence!, axes, samples },
    };
  }
  if (bytes.length < fullHeaderBytes + rowBytes) {
    return corrupt('too-short', `expected at least ${fullHeaderBytes + rowBytes} bytes, ${bytes.length} came`);
  }
  if (bytes.length > maxNotificationBytes) {
    return corrupt('too-long', `expected at most ${maxNotificationBytes} bytes, ${bytes.length} came`);
  }
  const count = bytes[12]!;
  const maxCount = maxSamplesPerNotification(axes);
  if (!(count >= 1 && count <= maxCount)) {
    return corrupt('sample-count', `expected 1 to ${maxCount} samples, the header says ${count}`);
  }
  if (bytes.length !== fullHeaderBytes + count * rowBytes) {
    const held = Math.floor((bytes.length - fullHeaderBytes) / rowBytes);
    return corrupt('length', `header says ${count} samples, ${bytes.length} bytes hold ${held}`);
  }
  if (bytes[13] !== 0) return corrupt('reserved', `expected a reserved byte of 0, the header has ${bytes[13]}`);
  const stored = view.getUint16(14, true);
  const checksum = fullChecksum(bytes);
  if (checksum !== stored) return corrupt('checksum', checksumProblem(stored, checksum, 4));
  return {
    kind: 'frame',
    frame: {
      form: 'full',
      startNumber: bytes[1]!,
      sequence: sequence!,
      tick: view.getUint32(4, true),
      sampleIndex: view.getUint32(8, true),
      axes,
      samples: readSamples(view, fullHeaderBytes, count * axes),
    },
  };
}

function readSamples(view: DataView, start: number, length: number): Int16Array {
  const samples = new Int16Array(length);
  for (let at = 0; at < length; at++) samples[at] = view.getInt16(start + 2 * at, true);
  return samples;
}

/** Everything but the checksum itself, in the order of the bytes. */
function fullChecksum(bytes: Uint8Array): number {
  return crc16(bytes, fullHeaderBytes, bytes.length, crc16(bytes, 0, fullHeaderBytes - 2));
}

function shortChecksum(bytes: Uint8Array): number {
  return crc8Register(bytes, 2, bytes.length, crc8Register(bytes, 0, 1)) ^ 0xff;
}

function checksumProblem(stored: number, computed: number, digits: number): string {
  const hex = (value: number) => `0x${value.toString(16).padStart(digits, '0')}`;
  return `the header says checksum ${hex(stored)}, the bytes give ${hex(computed)}`;
}

function checkUint(name: string, value: number | null, bits: number): void {
  if (!(Number.isInteger(value) && (value as number) >= 0 && (value as number) < 2 ** bits)) {
    reject(name, `a whole number from 0 to ${2 ** bits - 1}`, value);
  }
}

function reject(name: string, expected: string, came: unknown): never {
  throw new SeamwiseError(
    'notification-field',
    `${name} of a notification: expected ${expected}, came ${String(came)}`,
  );
}
