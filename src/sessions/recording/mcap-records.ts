/**
 * Records of an MCAP container (MCAP format specification, version 0, "Records") as far as a recording needs them, with
 * checks that tell a sound record from a damaged one. The stock readers stop at the first damage.
 */

export const opcode = {
  header: 0x01,
  footer: 0x02,
  channel: 0x04,
  message: 0x05,
  chunk: 0x06,
  messageIndex: 0x07,
  metadata: 0x0c,
  dataEnd: 0x0f,
} as const;

/** Opcode and length before every record. */
export const recordHeadBytes = 9;
/** Fields of an uncompressed chunk before its records. */
export const chunkHeadBytes = 40;
/** Longer chunks than this are taken for damage; we write about 16 KiB. */
export const longestChunkBytes = 256 * 2 ** 20;

const messageHeadBytes = 22;
const highestOpcode = 0x0f;
const text = new TextDecoder('utf-8', { fatal: true });

/** Reads little-endian fields one after the other; a field beyond the end makes `ok` false and reads as 0. */
class Fields {
  readonly #view: DataView;
  readonly #bytes: Uint8Array;
  at = 0;
  ok = true;

  constructor(bytes: Uint8Array) {
    this.#bytes = bytes;
    this.#view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  }

  #take(length: number): number {
    const start = this.at;
    if (start + length > this.#bytes.length) this.ok = false;
    else this.at += length;
    return start;
  }

  u16(): number {
    const start = this.#take(2);
    return this.ok ? this.#view.getUint16(start, true) : 0;
  }

  u32(): number {
    const start = this.#take(4);
    return this.ok ? this.#view.getUint32(start, true) : 0;
  }

  u64(): bigint {
    const start = this.#take(8);
    return this.ok ? this.#view.getBigUint64(start, true) : 0n;
  }

  string(): string {
    const length = this.u32();
    const start = this.#take(length);
    if (!this.ok) return '';
    try {
      return text.decode(this.#bytes.subarray(start, start + length));
    } catch {
      this.ok = false;
      return '';
    }
  }

  map(): Map<string, string> {
    const end = this.u32() + this.at;
    const entries = new Map<string, string>();
    while (this.ok && this.at < end) entries.set(this.string(), this.string());
    if (this.at !== end) this.ok = false;
    return entries;
  }
}

/** An instant since the Unix epoch. */
export interface McapTime {
  readonly wholeS: number;
  /** Beyond the whole seconds, below 1e9. */
  readonly nanoseconds: number;
}

export interface McapMessage {
  readonly channelId: number;
  readonly logTime: McapTime;
  /** Whether log time and publish time are the same. */
  readonly timesAgree: boolean;
  readonly data: Uint8Array;
}

/** @returns id and topic of a channel record's body, or null when it is damaged. */
export function parseChannel(body: Uint8Array): { readonly id: number; readonly topic: string } | null {
  const fields = new Fields(body);
  const id = fields.u16();
  fields.u16();
  const topic = fields.string();
  fields.string();
  fields.map();
  return fields.ok && fields.at === body.length ? { id, topic } : null;
}

/** @returns name and entries of a metadata record's body, or null when it is damaged. */
export function parseMetadata(
  body: Uint8Array,
): { readonly name: string; readonly entries: Map<string, string> } | null {
  const fields = new Fields(body);
  const name = fields.string();
  const entries = fields.map();
  return fields.ok && fields.at === body.length ? { name, entries } : null;
}

/**
 * @param body the whole body of a record other than a chunk.
 * @returns whether the lengths inside the body fit it; true for kinds whose inside is not looked at.
 */
export function isSoundBody(code: number, body: Uint8Array): boolean {
  if (code === opcode.channel) return parseChannel(body) !== null;
  if (code === opcode.metadata) return parseMetadata(body) !== null;
  if (code !== opcode.header) return true;
  const fields = new Fields(body);
  fields.string();
  fields.string();
  return fields.ok && fields.at === body.length;
}

/** @returns a message record's body taken apart, or null when it is too short for one. `data` is a view. */
export function parseMessage(body: Uint8Array): McapMessage | null {
  if (body.length < messageHeadBytes) return null;
  const channelId = u16At(body, 0);
  let timesAgree = true;
  for (let k = 6; k < 14; k++) timesAgree &&= body[k] === body[k + 8];
  return { channelId, logTime: timeAt(body, 6), timesAgree, data: body.subarray(messageHeadBytes) };
}

/** The start of a chunk, with the sizes that stand in it three times over brought together. */
export interface ChunkHead {
  /** Bytes of the record's body. */
  readonly bodyBytes: number;
  readonly startTime: bigint;
  readonly endTime: bigint;
  /** CRC-32 of the records, 0 where none was stored. */
  readonly crc: number;
  /** False when one of the three sizes is wrong, so that at least the chunk's start is damaged. */
  readonly isSound: boolean;
}

/**
 * Reads the start of a chunk. Its size stands there three times (record length, uncompressed size, length of the
 * records); where two agree the third is damaged.
 *
 * @param length the record's length as it stands before the body.
 * @param body at least the first `chunkHeadBytes` of the body.
 * @returns null when it is no uncompressed chunk.
 */
export function parseChunkHead(length: number, body: Uint8Array): ChunkHead | null {
  const fields = new Fields(body.subarray(0, chunkHeadBytes));
  const startTime = fields.u64();
  const endTime = fields.u64();
  const uncompressed = Number(fields.u64());
  const crc = fields.u32();
  const compressionBytes = fields.u32();
  const stored = Number(fields.u64());
  if (!fields.ok || compressionBytes !== 0) return null;
  const byLength = length - chunkHeadBytes;
  const size = uncompressed === stored || uncompressed === byLength ? uncompressed : stored === byLength ? stored : -1;
  if (size < 0 || size > longestChunkBytes) return null;
  const isSound = uncompressed === stored && stored === byLength && startTime <= endTime;
  return { bodyBytes: size + chunkHeadBytes, startTime, endTime, crc, isSound };
}

/**
 * @param body the first bytes of the body.
 * @returns whether opcode and length can be those of a record other than a chunk.
 */
export function isPlausibleRecord(code: number, length: number, body: Uint8Array): boolean {
  if (!(code >= 1 && code <= highestOpcode)) return false;
  if (code === opcode.footer) return length === 20;
  if (code === opcode.dataEnd) return length === 4;
  if (code === opcode.messageIndex) {
    const fields = new Fields(body.subarray(0, 6));
    fields.u16();
    return fields.u32() === length - 6 && fields.ok;
  }
  return code !== opcode.chunk;
}

/** @returns length of a record's body as it stands at `at`, and its opcode. */
export function parseRecordHead(bytes: Uint8Array, at: number): { readonly code: number; readonly length: number } {
  return { code: bytes[at] as number, length: u32At(bytes, at + 1) + u32At(bytes, at + 5) * 2 ** 32 };
}

// There are some hundred thousand messages in an hour: a view and two BigInts for each cost more than all else that is read of it.

function u16At(bytes: Uint8Array, at: number): number {
  return (bytes[at] as number) | ((bytes[at + 1] as number) << 8);
}

function u32At(bytes: Uint8Array, at: number): number {
  return u16At(bytes, at) + u16At(bytes, at + 2) * 2 ** 16;
}

/** Long division by 1e9, sixteen bits at a time: each remainder with the bits behind it is a whole number below 2⁴⁶. */
function timeAt(bytes: Uint8Array, at: number): McapTime {
  let wholeS = 0;
  let rest = 0;
  for (let place = 6; place >= 0; place -= 2) {
    rest = rest * 2 ** 16 + u16At(bytes, at + place);
    const share = Math.floor(rest / 1e9);
    wholeS = wholeS * 2 ** 16 + share;
    rest -= share * 1e9;
  }
  return { wholeS, nanoseconds: rest };
}
