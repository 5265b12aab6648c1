/**
 * The messages of the control characteristic, bytes ↔ values, exactly as firmware-protocol/gatt.md lays them out.
 *
 * A host writes a request and then reads the answer from the same characteristic:
 *
 *     await write(encodeControlRequest({ kind: 'set-rate', rateHz: 416 }, number));
 *     const decoded = decodeControlAnswer(await read());
 *
 * An answer always says all settings in force. Values are SI here; on the wire they stand in the units of the sensor
 * description.
 */
import { standardGravityMps2 } from '../foundation/constants.ts';
import { SeamwiseError } from '../foundation/errors.ts';
import { crc8Register } from './checksum.ts';
import { type Placement, placements } from './sensor-description.ts';

export const controlVersion = 1;
/** No request is longer, so that each fits an ATT MTU of 23. */
export const maxControlRequestBytes = 20;
export const controlAnswerBytes = 20;
export const maxIdentifyS = 60;

/** Kinds of requests by their number on the wire; 0 is none. */
export const controlRequestCodes = {
  start: 1,
  stop: 2,
  'set-rate': 3,
  'set-ranges': 4,
  'set-placement': 5,
  identify: 6,
} as const;
export type ControlRequestKind = keyof typeof controlRequestCodes;

export type ControlRequest =
  | { readonly kind: 'start' | 'stop' }
  | { readonly kind: 'set-rate'; readonly rateHz: number }
  /** Null leaves a range as it is. */
  | { readonly kind: 'set-ranges'; readonly accelRangeMps2: number | null; readonly gyroRangeRadps: number | null }
  | { readonly kind: 'set-placement'; readonly placement: Placement }
  /** 0 s ends it. */
  | { readonly kind: 'identify'; readonly durationS: number };

/** What became of a request, in the order of the numbers on the wire. Only after `done` has anything changed. */
export const controlStatuses = [
  'done',
  'malformed',
  'unknown-version',
  'unknown-request',
  'impossible-value',
  'wrong-state',
  'failed',
] as const;
export type ControlStatus = (typeof controlStatuses)[number];

export const controlStates = ['idle', 'streaming'] as const;
export type ControlState = (typeof controlStates)[number];

/** What the control characteristic says when it is read. */
export interface ControlAnswer {
  /** The request that is answered; null before the first one, and after one that was too short to say. */
  readonly requestCode: number | null;
  /** As the host numbered its request, 1–255; 0 where there is none. */
  readonly requestNumber: number;
  readonly status: ControlStatus;
  readonly state: ControlState;
  readonly placement: Placement;
  readonly rateHz: number;
  readonly accelRangeMps2: number;
  /** Null without a gyroscope. */
  readonly gyroRangeRadps: number | null;
}

/** Damaged bytes are a value, never an exception. */
export type DecodedControlAnswer =
  | { readonly kind: 'answer'; readonly answer: ControlAnswer }
  | { readonly kind: 'corrupt'; readonly problem: string };

export type DecodedControlRequest =
  | { readonly kind: 'request'; readonly request: ControlRequest; readonly requestNumber: number }
  | {
      readonly kind: 'refused';
      readonly status: Exclude<ControlStatus, 'done' | 'wrong-state' | 'failed'>;
      readonly requestCode: number | null;
      readonly requestNumber: number;
      readonly problem: string;
    };

const milliG = 1e3 / standardGravityMps2;
const milliDps = 1e3 * (180 / Math.PI);
const limits = {
  rateMilliHz: [1_000, 10_000_000],
  accelRangeMilliG: [100, 1_000_000],
  gyroRangeMilliDps: [1_000, 100_000_000],
} as const;
type Limits = (typeof limits)[keyof typeof limits];

const headerBytes = 3;
const valueBytes: Readonly<Record<ControlRequestKind, number>> = {
  start: 0,
  stop: 0,
  'set-rate': 4,
  'set-ranges': 8,
  'set-placement': 1,
  identify: 1,
};

/**
 * @param requestNumber 1–255, another one for every request.
 * @throws SeamwiseError `control-field` for a value that does not fit its field.
 */
export function encodeControlRequest(request: ControlRequest, requestNumber: number): Uint8Array {
  const code = controlRequestCodes[request.kind];
  if (code === undefined) reject('kind', `one of ${Object.keys(controlRequestCodes).join(', ')}`, request.kind);
  if (!(Number.isInteger(requestNumber) && requestNumber >= 1 && requestNumber <= 255)) {
    reject('requestNumber', 'a whole number from 1 to 255', requestNumber);
  }
  const bytes = new Uint8Array(headerBytes + valueBytes[request.kind] + 1);
  const view = new DataView(bytes.buffer);
  bytes[0] = controlVersion;
  bytes[1] = code;
  bytes[2] = requestNumber;
  if (request.kind === 'set-rate') {
    putUint32(view, 3, 'rateHz', request.rateHz, 1e3, limits.rateMilliHz);
  } else if (request.kind === 'set-ranges') {
    const { accelRangeMps2, gyroRangeRadps } = request;
    if (accelRangeMps2 !== null) putUint32(view, 3, 'accelRangeMps2', accelRangeMps2, milliG, limits.accelRangeMilliG);
    if (gyroRangeRadps !== null)
      putUint32(view, 7, 'gyroRangeRadps', gyroRangeRadps, milliDps, limits.gyroRangeMilliDps);
  } else if (request.kind === 'set-placement') {
    const at = placements.indexOf(request.placement);
    if (at < 0) reject('placement', `one of ${placements.join(', ')}`, request.placement);
    bytes[3] = at;
  } else if (request.kind === 'identify') {
    const { durationS } = request;
    if (!(Number.isInteger(durationS) && durationS >= 0 && durationS <= maxIdentifyS)) {
      reject('durationS', `a whole number from 0 to ${maxIdentifyS}`, durationS);
    }
    bytes[3] = durationS;
  }
  bytes[bytes.length - 1] = checksum(bytes);
  return bytes;
}

/** The sensor's side: what a request says, or the status with which it is refused. Never throws. */
export function decodeControlRequest(bytes: Uint8Array): DecodedControlRequest {
  const requestCode = bytes.length >= 2 ? bytes[1]! : null;
  const requestNumber = bytes.length >= 3 ? bytes[2]! : 0;
  const refused = (
    status: Extract<DecodedControlRequest, { kind: 'refused' }>['status'],
    problem: string,
  ): DecodedControlRequest => ({ kind: 'refused', status, requestCode, requestNumber, problem });

  if (bytes.length < headerBytes + 1) {
    return refused('malformed', `expected at least ${headerBytes + 1} bytes, ${bytes.length} came`);
  }
  // Before the checksum, which another version may have elsewhere.
  if (bytes[0] !== controlVersion) {
    return refused('unknown-version', `expected version ${controlVersion}, byte 0 says ${bytes[0]}`);
  }
  if (bytes.length > maxControlRequestBytes) {
    return refused('malformed', `expected at most ${maxControlRequestBytes} bytes, ${bytes.length} came`);
  }
  if (bytes[bytes.length - 1] !== checksum(bytes)) {
    return refused('malformed', 'the checksum does not fit the bytes');
  }
  const kind = kindOf(requestCode!);
  if (kind === null) return refused('unknown-request', `no request has the number ${requestCode}`);
  const expected = headerBytes + valueBytes[kind] + 1;
  if (bytes.length !== expected) return refused('malformed', `${kind} has ${expected} bytes, ${bytes.length} came`);
  if (requestNumber === 0) return refused('malformed', 'expected a request number from 1 to 255, came 0');

  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const accept = (request: ControlRequest): DecodedControlRequest => ({ kind: 'request', request, requestNumber });
  const impossible = (name: string, range: string, came: number): DecodedControlRequest =>
    refused('impossible-value', `${name}: expected ${range}, came ${came}`);
  switch (kind) {
    case 'start':
    case 'stop':
      return accept({ kind });
    case 'set-rate': {
      const wire = view.getUint32(3, true);
      if (!within(wire, limits.rateMilliHz)) return impossible('rate', `${limits.rateMilliHz.join(' to ')} mHz`, wire);
      return accept({ kind, rateHz: wire / 1e3 });
    }
    case 'set-ranges': {
      const accel = view.getUint32(3, true);
      const gyro = view.getUint32(7, true);
      if (accel !== 0 && !within(accel, limits.accelRangeMilliG)) {
        return impossible('accelerometer range', `0 or ${limits.accelRangeMilliG.join(' to ')} milli-g`, accel);
      }
      if (gyro !== 0 && !within(gyro, limits.gyroRangeMilliDps)) {
        return impossible('gyroscope range', `0 or ${limits.gyroRangeMilliDps.join(' to ')} m°/s`, gyro);
      }
      return accept({
        kind,
        accelRangeMps2: accel === 0 ? null : accel / milliG,
        gyroRangeRadps: gyro === 0 ? null : gyro / milliDps,
      });
    }
    case 'set-placement': {
      const placement = placements[bytes[3]!];
      if (placement === undefined) return impossible('placement', `0 to ${placements.length - 1}`, bytes[3]!);
      return accept({ kind, placement });
    }
    case 'identify':
      if (bytes[3]! > maxIdentifyS) return impossible('duration', `0 to ${maxIdentifyS} s`, bytes[3]!);
      return accept({ kind, durationS: bytes[3]! });
  }
}

/**
 * The sensor's side.
 *
 * @throws SeamwiseError `control-field` for a value that does not fit its field.
 */
export function encodeControlAnswer(answer: ControlAnswer): Uint8Array {
  const bytes = new Uint8Array(controlAnswerBytes);
  const view = new DataView(bytes.buffer);
  const { requestCode, requestNumber } = answer;
  if (requestCode !== null && !isByte(requestCode)) reject('requestCode', '0 to 255 or null', requestCode);
  if (!isByte(requestNumber)) reject('requestNumber', 'a whole number from 0 to 255', requestNumber);
  bytes[0] = controlVersion;
  bytes[1] = requestCode ?? 0;
  bytes[2] = requestNumber;
  bytes[3] = indexIn('status', controlStatuses, answer.status);
  bytes[4] = indexIn('state', controlStates, answer.state);
  bytes[5] = indexIn('placement', placements, answer.placement);
  putUint32(view, 6, 'rateHz', answer.rateHz, 1e3, limits.rateMilliHz);
  putUint32(view, 10, 'accelRangeMps2', answer.accelRangeMps2, milliG, limits.accelRangeMilliG);
  if (answer.gyroRangeRadps !== null) {
    putUint32(view, 14, 'gyroRangeRadps', answer.gyroRangeRadps, milliDps, limits.gyroRangeMilliDps);
  }
  bytes[19] = checksum(bytes);
  return bytes;
}

/** @returns what an answer says, or what is wrong with the bytes. Never throws. */
export function decodeControlAnswer(bytes: Uint8Array): DecodedControlAnswer {
  const corrupt = (problem: string): DecodedControlAnswer => ({ kind: 'corrupt', problem });
  if (bytes.length !== controlAnswerBytes) {
    return corrupt(`expected ${controlAnswerBytes} bytes, ${bytes.length} came`);
  }
  if (bytes[0] !== controlVersion) {
    return corrupt(`expected version ${controlVersion}, byte 0 says ${bytes[0]}; damaged, or newer than this program`);
  }
  if (bytes[19] !== checksum(bytes)) return corrupt('the checksum does not fit the bytes');
  const status = controlStatuses[bytes[3]!];
  if (status === undefined)
    return corrupt(`byte 3, status: expected 0 to ${controlStatuses.length - 1}, came ${bytes[3]}`);
  const state = controlStates[bytes[4]!];
  if (state === undefined) return corrupt(`byte 4, state: expected 0 or 1, came ${bytes[4]}`);
  const placement = placements[bytes[5]!];
  if (placement === undefined) return corrupt(`byte 5, placement: expected 0 to 3, came ${bytes[5]}`);
  if (bytes[18] !== 0) return corrupt(`expected 0 in reserved byte 18, came ${bytes[18]}`);
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const rate = view.getUint32(6, true);
  const accelRange = view.getUint32(10, true);
  const gyroRange = view.getUint32(14, true);
  if (!within(rate, limits.rateMilliHz)) return corrupt(`byte 6, rate: came ${rate} mHz`);
  if (!within(accelRange, limits.accelRangeMilliG))
    return corrupt(`byte 10, accelerometer range: came ${accelRange} milli-g`);
  if (gyroRange !== 0 && !within(gyroRange, limits.gyroRangeMilliDps)) {
    return corrupt(`byte 14, gyroscope range: came ${gyroRange} m°/s`);
  }
  return {
    kind: 'answer',
    answer: {
      requestCode: bytes[1] === 0 ? null : bytes[1]!,
      requestNumber: bytes[2]!,
      status,
      state,
      placement,
      rateHz: rate / 1e3,
      accelRangeMps2: accelRange / milliG,
      gyroRangeRadps: gyroRange === 0 ? null : gyroRange / milliDps,
    },
  };
}

function kindOf(code: number): ControlRequestKind | null {
  for (const [kind, itsCode] of Object.entries(controlRequestCodes)) {
    if (itsCode === code) return kind as ControlRequestKind;
  }
  return null;
}

/** CRC-8 of everything before the last byte. */
function checksum(bytes: Uint8Array): number {
  return crc8Register(bytes, 0, bytes.length - 1) ^ 0xff;
}

function within(value: number, [min, max]: Limits): boolean {
  return value >= min && value <= max;
}

function isByte(value: number): boolean {
  return Number.isInteger(value) && value >= 0 && value <= 255;
}

function indexIn<Name extends string>(field: string, names: readonly Name[], name: Name): number {
  const at = names.indexOf(name);
  if (at < 0) reject(field, `one of ${names.join(', ')}`, name);
  return at;
}

function putUint32(view: DataView, at: number, name: string, value: number, perUnit: number, [min, max]: Limits): void {
  const wire = Math.round(value * perUnit);
  if (!(wire >= min && wire <= max)) reject(name, `${min / perUnit} to ${max / perUnit}`, value);
  view.setUint32(at, wire, true);
}

function reject(name: string, expected: string, came: unknown): never {
  throw new SeamwiseError('control-field', `${name} of a control message: expected ${expected}, came ${String(came)}`);
}
