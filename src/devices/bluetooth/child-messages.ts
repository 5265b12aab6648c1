import type { CharacteristicInfo, CharacteristicRef, RadioErrorCode, RadioState, Sighting } from '../radio.ts';
import type { NobleModule } from './noble-api.ts';
import type { RadioTimes } from './noble-radio.ts';

/**
 * What goes between the service and the process with the radio. Times are seconds on the machine's monotonic clock
 * (`process.hrtime`), which both processes read alike; the service turns them into host times.
 */
export type ToChild =
  | { readonly kind: 'start'; readonly moduleName: NobleModule; readonly times: Partial<RadioTimes> }
  | { readonly kind: 'ping'; readonly number: number }
  | { readonly kind: 'scan'; readonly on: boolean }
  | { readonly kind: 'stop' }
  | ({ readonly kind: 'call'; readonly call: number } & ChildCall);

export type ChildCall =
  | { readonly what: 'connect'; readonly radioId: string }
  | { readonly what: 'read' | 'unsubscribe'; readonly session: number; readonly ref: CharacteristicRef }
  | { readonly what: 'subscribe'; readonly session: number; readonly ref: CharacteristicRef; readonly stream: number }
  | {
      readonly what: 'write';
      readonly session: number;
      readonly ref: CharacteristicRef;
      readonly bytes: Uint8Array;
      readonly withResponse: boolean | null;
    }
  | { readonly what: 'disconnect'; readonly session: number };

/** One notification: number of the subscription, bytes, time of receipt. */
export type ChildPacket = readonly [stream: number, bytes: Uint8Array, atS: number];

export type FromChild =
  | { readonly kind: 'state'; readonly state: RadioState }
  | { readonly kind: 'pong'; readonly number: number }
  | { readonly kind: 'sighting'; readonly sighting: Sighting }
  | { readonly kind: 'packets'; readonly packets: readonly ChildPacket[] }
  | { readonly kind: 'ended'; readonly session: number; readonly why: string }
  | { readonly kind: 'warning'; readonly message: string }
  | { readonly kind: 'broken'; readonly why: string }
  | { readonly kind: 'answer'; readonly call: number; readonly value: ChildAnswer }
  | { readonly kind: 'failed'; readonly call: number; readonly code: RadioErrorCode; readonly message: string };

export type ChildAnswer = null | Uint8Array | OpenedSession;

export interface OpenedSession {
  readonly session: number;
  readonly radioId: string;
  readonly characteristics: readonly CharacteristicInfo[];
}

/** @returns seconds on the monotonic clock that all processes of the machine share. */
export function monotonicS(): number {
  return Number(process.hrtime.bigint()) / 1e9;
}
