/**
 * Device profiles: how the bytes of a general-purpose board become samples, so that a board whose firmware cannot be changed
 * can be read too. firmware-protocol/profiles/ holds the JSON Schema of the documents, and examples.
 */
import { standardGravityMps2 } from '../foundation/constants.ts';
import type { NumberType } from './number-types.ts';
import type { Placement } from './sensor-description.ts';

export const profileVersion = 1;
/** Longest JSON text of a profile, characters. */
export const maxProfileCharacters = 65_536;

export const quantities = ['accel', 'gyro'] as const;
export type Quantity = (typeof quantities)[number];

/** SI per unit, by quantity. */
export const profileUnits = {
  accel: { 'm/s2': 1, g: standardGravityMps2, mg: standardGravityMps2 / 1e3 },
  gyro: { 'rad/s': 1, 'deg/s': Math.PI / 180, 'mdeg/s': Math.PI / 180e3 },
} as const satisfies Record<Quantity, Record<string, number>>;

/** Where a number of the row goes, with its sign. */
export const signedAxes = ['x', 'y', 'z', '-x', '-y', '-z'] as const;
export type SignedAxis = (typeof signedAxes)[number];

export interface ProfileCharacteristic {
  readonly service: string;
  readonly characteristic: string;
}

/** Which advertisements it fits: one of the services and one of the name's beginnings, as far as they are given. */
export interface ProfileMatch {
  readonly serviceUuids: readonly string[] | null;
  readonly namePrefixes: readonly string[] | null;
}

export interface StartUpWrite extends ProfileCharacteristic {
  readonly bytes: Uint8Array;
  readonly withResponse: boolean;
  /** Wait after it. */
  readonly waitS: number;
}

/** Three numbers of one quantity in a row. */
export interface ProfileTriple {
  readonly quantity: Quantity;
  /** The n-th number goes to the n-th of these. */
  readonly axes: readonly [SignedAxis, SignedAxis, SignedAxis];
  /** SI per number of the board, above 0. */
  readonly scaleSi: number;
  /** Where the values end, SI. */
  readonly rangeSi: number;
  /** Numbers of the board are raw numbers of the stream format as they are; else they are rounded to it. */
  readonly passesThrough: boolean;
  /** SI per raw number of the stream format: a whole number of nano-g or nano-degrees per second. */
  readonly outScaleSi: number;
}

export interface BinaryTriple extends ProfileTriple {
  readonly type: NumberType;
  readonly littleEndian: boolean;
  /** Of the first of the three numbers, from the start of the row, and from each to the next. */
  readonly offset: number;
  readonly step: number;
}

export interface TextTriple extends ProfileTriple {
  /** Columns of the three numbers, from 0. */
  readonly columns: readonly [number, number, number];
}

/** A counter or clock of the device, from the start of the notification. */
export interface BinaryCounter {
  readonly type: NumberType;
  readonly littleEndian: boolean;
  readonly offset: number;
}

export interface BinaryStream extends ProfileCharacteristic {
  readonly mode: 'binary';
  /** Of the first row. */
  readonly rowOffset: number;
  /** From row to row. */
  readonly rowBytes: number;
  /** Rows in a notification, or as many as fit. */
  readonly rows: number | 'all';
  readonly triples: readonly BinaryTriple[];
  /** Counts notifications. */
  readonly sequence: BinaryCounter | null;
  /** Time of the first row. */
  readonly tick: (BinaryCounter & { readonly unitS: number }) | null;
}

export interface TextStream extends ProfileCharacteristic {
  readonly mode: 'text';
  readonly separator: string;
  readonly triples: readonly TextTriple[];
  readonly sequence: { readonly column: number } | null;
  readonly tick: { readonly column: number; readonly unitS: number } | null;
}

export type ProfileStream = BinaryStream | TextStream;

export interface ProfileHead {
  readonly id: string;
  readonly title: string;
  readonly match: ProfileMatch;
  readonly startUp: readonly StartUpWrite[];
}

/** A board that knows nothing of this project. */
export interface BoardProfile extends ProfileHead {
  readonly kind: 'board';
  readonly nominalRateHz: number;
  readonly filterDelayS: number;
  readonly placement: Placement;
  readonly streams: readonly ProfileStream[];
}

/** A sensor that sends the stream format and describes itself. */
export interface StreamFormatProfile extends ProfileHead {
  readonly kind: 'stream-format';
  readonly description: ProfileCharacteristic;
  readonly stream: ProfileCharacteristic;
}

export type DeviceProfile = BoardProfile | StreamFormatProfile;

/** @returns whether an advertisement fits; `serviceUuids` in this project's form. The name comes from a stranger. */
export function profileFits({ match }: DeviceProfile, name: string | null, serviceUuids: readonly string[]): boolean {
  const byService = match.serviceUuids?.some((uuid) => serviceUuids.includes(uuid)) ?? true;
  const byName = match.namePrefixes?.some((prefix) => name?.startsWith(prefix) === true) ?? true;
  return byService && byName;
}
