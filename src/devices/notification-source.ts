import type { Observable } from 'rxjs';
import type { SensorNotification } from '../foundation/sensor-notification.ts';

/**
 * States of a sensor as its user sees them, in the order in which they usually come.
 *
 * `searching`: wanted and not in the air. `found`: it advertises. `connecting`: connecting, reading its description,
 * subscribing. `streaming`: notifications come. `quiet`: connected, but nothing has come for a while. `lost`: the
 * connection is gone and is being made anew. `unavailable`: it cannot be reached at all here, `remedy` says what to do.
 * `ended`: nothing more will come.
 */
export const sensorStates = [
  'searching',
  'found',
  'connecting',
  'streaming',
  'quiet',
  'lost',
  'unavailable',
  'ended',
] as const;
export type SensorState = (typeof sensorStates)[number];

/** Something changed about a sensor. A provider reconnects by itself and only tells. */
export interface SensorStateEvent {
  readonly sensorId: string;
  readonly state: SensorState;
  /** Time of the change on the host's clock, seconds since the Unix epoch. */
  readonly hostTimeS: number;
  /**
   * The sensor's description in the bytes of the stream format, with a `streaming` where a stream starts anew. A
   * `streaming` without one goes on with the stream from before: the sensor came back, and counters that began anew
   * are marked in the notifications themselves.
   */
  readonly description: Uint8Array | null;
  /** What happened, in a sentence, where the state alone does not say it. */
  readonly detail: string | null;
  /** What to do about it on this system, in a sentence. */
  readonly remedy?: string;
  /** With a `streaming` after an interruption: seconds from the last notification before it to the first after it. */
  readonly silentS?: number;
}

/**
 * Where notifications come from, as far as the live path needs it.
 *
 * For each sensor a `streaming` event comes before its first notification. Both streams complete when the source has
 * ended or was closed; neither ever errors: what goes wrong is a state event with a detail.
 */
export interface NotificationSource {
  /** True where no real sensor stands behind the notifications. */
  readonly simulated: boolean;
  readonly notifications: Observable<SensorNotification>;
  readonly states: Observable<SensorStateEvent>;
}
