import type { Observable } from 'rxjs';
import type { SensorNotification } from '../foundation/sensor-notification.ts';

/** States of a sensor as its user sees them, in the order in which they usually come. */
export const sensorStates = ['connecting', 'streaming', 'lost', 'ended'] as const;
export type SensorState = (typeof sensorStates)[number];

/** Something changed about a sensor. A provider reconnects by itself and only tells. */
export interface SensorStateEvent {
  readonly sensorId: string;
  readonly state: SensorState;
  /** Time of the change on the host's clock, seconds since the Unix epoch. */
  readonly hostTimeS: number;
  /** The sensor's description in the bytes of the stream format; given with every `streaming`, where the stream starts anew. */
  readonly description: Uint8Array | null;
  /** What happened, in a sentence, where the state alone does not say it. */
  readonly detail: string | null;
}

/**
 * Where notifications come from: a radio, a simulated sensor or a recording, all alike.
 *
 * Nothing is emitted before `start()`. For each sensor a `streaming` event comes before its first notification and
 * again whenever its device ticks start anew. Both streams complete when the source has ended or was stopped; neither
 * ever errors: what goes wrong is a state event with a detail.
 */
export interface NotificationSource {
  /** True where no real sensor stands behind the notifications. */
  readonly simulated: boolean;
  readonly notifications: Observable<SensorNotification>;
  readonly states: Observable<SensorStateEvent>;
  start(): void;
  /** Ends the source for good; safe to call twice. */
  stop(): Promise<void>;
}
