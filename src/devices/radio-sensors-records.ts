import type { DeviceKind, PreparedDevice } from './device-kind.ts';
import type { SensorState } from './notification-source.ts';
import type { GattSession } from './radio.ts';
import type { SensorInformation } from './sensor-provider.ts';

/** Seconds. */
export interface RadioSensorsTimes {
  /** Without a notification after which a connected sensor counts as quiet. */
  readonly quietS: number;
  /** Without a notification after which the connection is given up and made anew. */
  readonly giveUpS: number;
  /** First and longest wait before a device that failed is tried again. */
  readonly firstRetryS: number;
  readonly longestRetryS: number;
  /** Streaming for so long makes earlier failures forgotten. */
  readonly soundAfterS: number;
  readonly batteryS: number;
}

export const defaultRadioSensorsTimes: RadioSensorsTimes = {
  quietS: 1,
  giveUpS: 6,
  firstRetryS: 0.5,
  longestRetryS: 30,
  soundAfterS: 10,
  batteryS: 300,
};

/** A device that is being connected or is. */
export interface Link {
  readonly radioId: string;
  readonly name: string | null;
  readonly kind: DeviceKind;
  readonly rssiDbm: number;
  session: GattSession | null;
  prepared: PreparedDevice | null;
  /** Notifications have come since this connection. */
  streaming: boolean;
  startedAtS: number;
  /** When the battery was read last; null where it cannot be. */
  batteryAtS: number | null;
  dropped: boolean;
}

/** What is kept of a sensor over its connections. */
export interface Sensor {
  state: SensorState | null;
  stateText: string;
  description: Uint8Array | null;
  lastNotificationS: number | null;
  information: SensorInformation | null;
  /** Connections that ended while the standard services were read; after two of them they are left alone. */
  informationFailures: number;
}

/** How often each device failed, and when it is tried again. */
export class Retries {
  readonly #times: Pick<RadioSensorsTimes, 'firstRetryS' | 'longestRetryS'>;
  readonly #failures = new Map<string, { readonly count: number; readonly retryAtS: number }>();

  constructor(times: Pick<RadioSensorsTimes, 'firstRetryS' | 'longestRetryS'>) {
    this.#times = times;
  }

  /** One more failure: twice the wait of the last, up to the longest. */
  fail(radioId: string, nowS: number): void {
    const { firstRetryS, longestRetryS } = this.#times;
    const count = (this.#failures.get(radioId)?.count ?? 0) + 1;
    const waitS = Math.min(longestRetryS, firstRetryS * 2 ** Math.min(count - 1, 20));
    this.#failures.set(radioId, { count, retryAtS: nowS + waitS });
  }

  forget(radioId: string): void {
    this.#failures.delete(radioId);
  }

  isDue(radioId: string, nowS: number): boolean {
    return (this.#failures.get(radioId)?.retryAtS ?? Number.NEGATIVE_INFINITY) <= nowS;
  }
}

/** @returns whether two descriptions are the same, so that a stream may go on. */
export function sameBytes(one: Uint8Array, other: Uint8Array): boolean {
  return one.length === other.length && one.every((byte, at) => byte === other[at]);
}
