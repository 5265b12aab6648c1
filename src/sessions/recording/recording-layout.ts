import type { McapTime } from './mcap-records.ts';

/**
 * How notifications lie in an MCAP container (MCAP format specification, version 0), so that stock readers open it:
 *
 * - header profile `seamwise`;
 * - metadata record `seamwise.recording`: `format` (`1`) and what the maker adds, such as `simulated`;
 * - metadata record `seamwise.sensor` for every sensor: `sensorId`, `description` in hexadecimal;
 * - topic `/sensor/<sensorId>/description`: the sensor description, once for every start of a stream;
 * - topic `/sensor/<sensorId>/notification`: every notification byte for byte as it came;
 * - topic `/note/<kind>`: what was said about the recording, as JSON: marks for synchronisation, fits of clocks, settings.
 *
 * Every chunk names the channels of its messages, so that it can be read without any other.
 *
 * Log time and publish time of a message are both the host's time of receipt in nanoseconds since the Unix epoch.
 */
export const recordingProfile = 'seamwise';
export const recordingFormat = '1';
export const recordingMetadataName = 'seamwise.recording';
export const sensorMetadataName = 'seamwise.sensor';
export const notificationEncoding = 'seamwise-notification';
export const descriptionEncoding = 'seamwise-sensor-description';

export const noteEncoding = 'json';

/** What can be said about a recording. */
export const noteKinds = ['mark', 'clock', 'settings'] as const;
export type NoteKind = (typeof noteKinds)[number];

/** @returns the topic of notes of a kind. */
export function noteTopic(kind: NoteKind): string {
  return `/note/${kind}`;
}

/** @returns kind of a note's topic, or null when it is none. */
export function parseNoteTopic(topic: string): NoteKind | null {
  return noteKinds.find((kind) => noteTopic(kind) === topic) ?? null;
}

/** What a message holds. */
export type MessageKind = 'notification' | 'description';

/** @returns the topic of a sensor's messages. */
export function topicOf(sensorId: string, kind: MessageKind): string {
  return `/sensor/${sensorId}/${kind}`;
}

/** @returns sensor and kind of a topic, or null when it is none of ours. */
export function parseTopic(topic: string): { readonly sensorId: string; readonly kind: MessageKind } | null {
  const match = /^\/sensor\/([^/]+)\/(notification|description)$/.exec(topic);
  return match ? { sensorId: match[1] as string, kind: match[2] as MessageKind } : null;
}

/** @returns host time in whole nanoseconds. */
export function toNanoseconds(hostTimeS: number): bigint {
  const wholeS = Math.floor(hostTimeS);
  // The fraction apart: the product of a present-day time and 1e9 has no room for nanoseconds in a double.
  return BigInt(wholeS) * 1_000_000_000n + BigInt(Math.round((hostTimeS - wholeS) * 1e9));
}

/** @returns host time in seconds; gives back any time of this century exactly as it was put in. */
export function toSeconds({ wholeS, nanoseconds }: McapTime): number {
  return wholeS + nanoseconds / 1e9;
}
