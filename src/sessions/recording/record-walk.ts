import { explainFileError, type OpenedFile } from '../recording-file.ts';
import {
  type ChunkHead,
  chunkHeadBytes,
  isPlausibleRecord,
  isSoundBody,
  opcode,
  parseChunkHead,
  parseRecordHead,
  recordHeadBytes,
} from './mcap-records.ts';

const magicBytes = 8;
/** Longest body of a record other than a chunk. */
const longestRecordBytes = 16 * 2 ** 20;
/** How much is looked through at once where damage hides the next record. */
export const searchBytes = 65_536;

/** How much of a file is read at once: each reading costs a way to another thread and back. */
const windowBytes = 2 ** 18;

/** A file of which neighbouring bytes are read together, for one reader that goes through it in order. */
export class ReadAhead {
  readonly #file: OpenedFile;
  #window = new Uint8Array(0);
  #windowAt = 0;

  constructor(file: OpenedFile) {
    this.#file = file;
  }

  get sizeBytes(): number {
    return this.#file.sizeBytes;
  }

  /** @returns the bytes from `at` on, fewer where the file ends: a view of memory that is not written to again. */
  async read(at: number, length: number): Promise<Uint8Array> {
    const from = at - this.#windowAt;
    if (from < 0 || from + length > this.#window.length) await this.#fill(at, length);
    const start = at - this.#windowAt;
    return this.#window.subarray(start, start + Math.max(0, length));
  }

  async #fill(at: number, length: number): Promise<void> {
    const { handle, path, sizeBytes } = this.#file;
    const bytes = new Uint8Array(Math.max(0, Math.min(Math.max(length, windowBytes), sizeBytes - at)));
    try {
      const { bytesRead } = await handle.read(bytes, 0, bytes.length, at);
      this.#window = bytes.subarray(0, bytesRead);
      this.#windowAt = at;
    } catch (error) {
      throw explainFileError(path, error);
    }
  }
}

/** A record of a container, or a stretch where no record could be told from another. */
export type FoundRecord =
  | {
      readonly kind: 'chunk';
      readonly at: number;
      readonly head: ChunkHead;
      readonly recordsAt: number;
      readonly availableBytes: number;
    }
  | { readonly kind: 'lost'; readonly at: number; readonly end: number }
  | { readonly kind: 'other'; readonly at: number; readonly code: number; readonly body: Uint8Array };

/** Goes from record to record; where damage hides the next one, looks for the next chunk. */
export async function* walkRecords(file: ReadAhead): AsyncGenerator<FoundRecord> {
  const { sizeBytes } = file;
  let inData = true;
  for (let at = magicBytes; at < sizeBytes; ) {
    const head = await file.read(at, recordHeadBytes + chunkHeadBytes);
    if (head.length < recordHeadBytes) {
      yield { kind: 'lost', at, end: sizeBytes };
      return;
    }
    const { code, length } = parseRecordHead(head, 0);
    const start = head.subarray(recordHeadBytes);
    const chunk = chunkAt(code, length, start);
    const bodyAt = at + recordHeadBytes;
    const isLikely = !chunk && isPlausibleRecord(code, length, start) && length <= longestRecordBytes;
    const body = isLikely && bodyAt + length <= sizeBytes ? await file.read(bodyAt, length) : null;
    if (chunk && (bodyAt + chunk.bodyBytes <= sizeBytes || chunk.isSound)) {
      const availableBytes = Math.min(chunk.bodyBytes - chunkHeadBytes, sizeBytes - bodyAt - chunkHeadBytes);
      yield { kind: 'chunk', at, head: chunk, recordsAt: bodyAt + chunkHeadBytes, availableBytes };
      at = bodyAt + chunk.bodyBytes;
    } else if (body && isSoundBody(code, body)) {
      yield { kind: 'other', at, code, body };
      if (code === opcode.dataEnd) inData = false;
      // Nothing but the closing magic follows.
      if (code === opcode.footer) return;
      at = bodyAt + length;
    } else {
      const next = inData ? await findChunk(file, at) : sizeBytes;
      yield { kind: 'lost', at, end: next };
      at = next;
    }
  }
}

/** @returns where the next chunk starts that fits into the file, or the file's size. */
async function findChunk(file: ReadAhead, from: number): Promise<number> {
  const { sizeBytes } = file;
  const overlap = recordHeadBytes + chunkHeadBytes;
  for (let blockAt = from; blockAt < sizeBytes; blockAt += searchBytes) {
    const block = await file.read(blockAt, searchBytes + overlap);
    for (let at = 0; at < searchBytes && at + overlap <= block.length; at++) {
      // Quick look first: no file of ours has lengths beyond 2^40, and our chunks name no compression.
      if (block[at + 6] || block[at + 7] || block[at + 8] || block[at + 37] || block[at + 38]) continue;
      const { code, length } = parseRecordHead(block, at);
      const chunk = chunkAt(code, length, block.subarray(at + recordHeadBytes));
      if (chunk?.isSound && blockAt + at + recordHeadBytes + chunk.bodyBytes <= sizeBytes) return blockAt + at;
    }
  }
  return sizeBytes;
}

/**
 * @returns the start of the chunk that a record is, or null. Three sizes that agree make a chunk, whatever a damaged
 *   opcode says.
 */
function chunkAt(code: number, length: number, body: Uint8Array): ChunkHead | null {
  const chunk = parseChunkHead(length, body);
  return chunk && (code === opcode.chunk || (chunk.isSound && chunk.bodyBytes > chunkHeadBytes)) ? chunk : null;
}
