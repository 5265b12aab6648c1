import type { SensorNotification } from '../../foundation/sensor-notification.ts';
import type { ChainSummary } from '../../live/notification-chain.ts';
import type { PathEvent, SensorStateChange, StreamBlock } from '../../live/sensor-streams.ts';
import type { BallSettings } from '../../shots/shot.ts';

/** What a thread is started with. */
export interface ThreadStart {
  readonly settings: BallSettings;
}

/** To the thread, in the order in which things happened. */
export type ToThread =
  | { readonly kind: 'packet'; readonly packet: SensorNotification }
  | { readonly kind: 'change'; readonly change: SensorStateChange }
  | { readonly kind: 'ask' }
  /** Whether samples are wanted besides what is found in them. */
  | { readonly kind: 'follow'; readonly isOn: boolean }
  | { readonly kind: 'end' };

/** What the thread knows of one sensor's stream. */
export interface SensorSummary {
  readonly sensorId: string;
  readonly summary: ChainSummary | null;
}

/** From the thread. `answer` follows every `ask`, `ended` comes last. */
export type FromThread =
  | { readonly kind: 'event'; readonly event: PathEvent; readonly summary: ChainSummary | null }
  | { readonly kind: 'block'; readonly block: StreamBlock }
  | { readonly kind: 'answer'; readonly summaries: readonly SensorSummary[] }
  | { readonly kind: 'ended' };
