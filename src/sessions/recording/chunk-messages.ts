import {
  type McapMessage,
  opcode,
  parseChannel,
  parseMessage,
  parseRecordHead,
  recordHeadBytes,
} from './mcap-records.ts';

/** Longest data of a message that is looked for in damaged bytes: notifications and descriptions are shorter. */
export const longestDataBytes = 512;

/** What stands in the records of a chunk. */
export type ChunkRecord =
  | { readonly kind: 'channel'; readonly id: number; readonly topic: string }
  | { readonly kind: 'message'; readonly message: McapMessage };

/** @returns the records of a sound chunk. What a later version may have added is passed over. */
export function* readChunk(records: Uint8Array): Generator<ChunkRecord> {
  for (let at = 0; at + recordHeadBytes <= records.length; ) {
    const { code, length } = parseRecordHead(records, at);
    const body = records.subarray(at + recordHeadBytes, at + recordHeadBytes + length);
    const record = parseRecord(code, body);
    if (record) yield record;
    at += recordHeadBytes + length;
  }
}

function parseRecord(code: number, body: Uint8Array): ChunkRecord | null {
  if (code === opcode.channel) {
    const channel = parseChannel(body);
    return channel && { kind: 'channel', ...channel };
  }
  const message = code === opcode.message ? parseMessage(body) : null;
  return message && { kind: 'message', message };
}

/** A stretch of damaged bytes that held records of a chunk. */
export interface DamagedStretch {
  readonly bytes: Uint8Array;
  /** Records are looked for that start before this byte; later ones are only looked at. */
  readonly startsBefore: number;
  /** Times that messages of the stretch can have, or null when they are not known. */
  readonly times: { readonly start: bigint; readonly end: bigint } | null;
  readonly isKnownChannel: (id: number) => boolean;
}

/**
 * Picks the messages out of damaged or cut-off bytes. A message is taken where both its times agree, lie in the span, it
 * is of a known channel and another record or the end follows; its data may still be damaged, which the notification's
 * own checksum tells. Channels are taken where they parse.
 *
 * @returns the first byte that was not looked at for a start, at or after `startsBefore`.
 */
export function* salvageRecords(stretch: DamagedStretch): Generator<ChunkRecord, number> {
  const { bytes, startsBefore } = stretch;
  let at = 0;
  while (at < startsBefore && at + recordHeadBytes <= bytes.length) {
    const { code, length } = parseRecordHead(bytes, at);
    const end = at + recordHeadBytes + length;
    const isLikely =
      (code === opcode.message || code === opcode.channel) && end <= bytes.length && canFollow(bytes[end]);
    const record = isLikely ? parseRecord(code, bytes.subarray(at + recordHeadBytes, end)) : null;
    if (record && isBelievable(record, stretch)) {
      yield record;
      at = end;
    } else at += 1;
  }
  return Math.max(at, startsBefore);
}

function isBelievable(record: ChunkRecord, { times, isKnownChannel }: DamagedStretch): boolean {
  if (record.kind === 'channel') return !isKnownChannel(record.id);
  const { channelId, logTime, timesAgree, data } = record.message;
  const logged = BigInt(logTime.wholeS) * 1_000_000_000n + BigInt(logTime.nanoseconds);
  const inSpan = times === null || (logged >= times.start && logged <= times.end);
  return timesAgree && inSpan && isKnownChannel(channelId) && data.length <= longestDataBytes;
}

/** @returns whether a record of this opcode can follow a message: another one in the chunk, or what follows a chunk. */
function canFollow(code: number | undefined): boolean {
  return (
    code === undefined ||
    (code >= opcode.channel && code <= opcode.messageIndex) ||
    code === opcode.dataEnd ||
    code === opcode.metadata
  );
}
