/** What was seen of a sensor while it was put to the test; `judgeConformity` says what it means. Plain data, no judgement. */
import type { ControlRequest } from '../control-message.ts';

export interface SeenNotification {
  readonly bytes: Uint8Array;
  readonly hostTimeS: number;
}

/** One stretch of streaming, from a start to a stop. */
export interface SeenStart {
  /** By what it began. */
  readonly by: 'subscribing' | 'request' | 'reconnecting';
  readonly notifications: readonly SeenNotification[];
}

/** A silence that was called for, and what came in it nevertheless. */
export interface SeenSilence {
  readonly after: 'stop' | 'unsubscribing';
  readonly notifications: readonly SeenNotification[];
}

/** Requests that the test writes, by what they try out. */
export type ControlTrial =
  | 'before-any'
  | 'set-rate-streaming'
  | 'bad-checksum'
  | 'unknown-version'
  | 'unknown-request'
  | 'wrong-length'
  | 'impossible-value'
  | 'stop'
  | 'set-rate-idle'
  | 'set-ranges-idle'
  | 'set-placement'
  | 'identify'
  | 'start'
  | 'stop-again'
  | 'start-again'
  | 'start-unsubscribed';

export interface SeenAnswer {
  readonly trial: ControlTrial;
  /** What was written; null where nothing was. */
  readonly written: Uint8Array | null;
  readonly request: ControlRequest | null;
  /** What the characteristic read afterwards, or null where writing or reading failed. */
  readonly answer: Uint8Array | null;
  /** Why there is no answer. */
  readonly problem: string | null;
}

export interface SeenCharacteristic {
  readonly service: string;
  readonly characteristic: string;
  readonly properties: readonly string[];
}

export interface ConformityEvidence {
  readonly advertisement: { readonly name: string | null; readonly serviceUuids: readonly string[] };
  readonly characteristics: readonly SeenCharacteristic[];
  /** As read, in order; the last one after a reconnect. Null where reading failed. */
  readonly descriptions: readonly (Uint8Array | null)[];
  readonly firmwareRevision: string | null;
  readonly battery: Uint8Array | null;
  readonly starts: readonly SeenStart[];
  readonly silences: readonly SeenSilence[];
  /** Null where there is no control characteristic. */
  readonly answers: readonly SeenAnswer[] | null;
  /** Why the sensor could not be connected a second time, or null where it could. */
  readonly reconnectProblem: string | null;
}
