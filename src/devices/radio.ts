import type { Observable } from 'rxjs';
import type { UnavailableReason } from './sensor-provider.ts';

/**
 * Bluetooth LE as a central sees it, without any knowledge of sensors. Every call has a timeout inside and ends with a
 * value or a `RadioError`; none hangs.
 *
 * UUIDs are lower-case: four hex digits, or 128 bits with dashes.
 */
export interface Radio {
  /** The present state comes at once to each that subscribes. */
  readonly states: Observable<RadioState>;
  /** Advertisements, while `scan(true)` holds; repeated ones too. */
  readonly sightings: Observable<Sighting>;
  start(): void;
  scan(on: boolean): void;
  /**
   * Connects, discovers all services and characteristics.
   *
   * @throws RadioError
   */
  connect(radioId: string): Promise<GattSession>;
  close(): Promise<void>;
}

export type RadioState =
  | { readonly state: 'starting' | 'ready' | 'closed' }
  | {
      readonly state: 'unavailable';
      readonly reason: UnavailableReason;
      readonly detail: string;
      readonly remedy: string;
    };

/** One advertisement. All of it comes from strangers. */
export interface Sighting {
  /** Good for `connect` now; may be another tomorrow for the same device. */
  readonly radioId: string;
  readonly name: string | null;
  readonly serviceUuids: readonly string[];
  readonly manufacturerData: Uint8Array | null;
  readonly rssiDbm: number;
  readonly connectable: boolean;
  readonly hostTimeS: number;
}

export interface CharacteristicRef {
  readonly service: string;
  readonly characteristic: string;
}

export interface CharacteristicInfo extends CharacteristicRef {
  /** Such as `read`, `write`, `writeWithoutResponse`, `notify`, `indicate`. */
  readonly properties: readonly string[];
}

/** One connection. It is over for good when `ended` resolves. */
export interface GattSession {
  readonly radioId: string;
  readonly characteristics: readonly CharacteristicInfo[];
  /** Resolves when the link is gone, with why, in words. Never rejects. */
  readonly ended: Promise<string>;
  /** @throws RadioError */
  read(ref: CharacteristicRef): Promise<Uint8Array>;
  /**
   * With response where the characteristic has it, unless told otherwise.
   *
   * @throws RadioError
   */
  write(ref: CharacteristicRef, bytes: Uint8Array, options?: { readonly withResponse?: boolean }): Promise<void>;
  /**
   * `take` may be called before the promise resolves: notifications do not wait for it. Host times are those of the
   * receipt, seconds since the Unix epoch.
   *
   * @throws RadioError
   */
  subscribe(ref: CharacteristicRef, take: (bytes: Uint8Array, hostTimeS: number) => void): Promise<void>;
  /** @throws RadioError */
  unsubscribe(ref: CharacteristicRef): Promise<void>;
  /** Ends the link; resolves in any case. */
  disconnect(): Promise<void>;
}

export const radioErrorCodes = {
  timeout: 'the other side did not answer in time',
  'link-lost': 'the connection ended before the answer came',
  'not-found': 'the device has no such service or characteristic',
  refused: 'the device or this machine refused',
  unavailable: 'the radio is not there',
} as const;
export type RadioErrorCode = keyof typeof radioErrorCodes;

/** What went wrong on the air: ordinary, and for the caller to try again. */
export class RadioError extends Error {
  readonly code: RadioErrorCode;

  constructor(code: RadioErrorCode, message: string) {
    super(message);
    this.name = 'RadioError';
    this.code = code;
  }
}
