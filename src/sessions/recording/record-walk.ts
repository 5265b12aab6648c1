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
export async function* walkRecords(file: OpenedFile): AsyncGenerator<FoundRecord> {
  const { sizeBytes } = file;
  let inData = true;
  for (let at = magicBytes; at < sizeBytes; ) {
    const head = await readBytes(file, at, recordHeadBytes + chunkHeadBytes);
    if (head.length < recordHeadBytes) {
      yield { kind: 'lost', at, end: sizeBytes };
      return;
    }
    const { code, length } = parseRecordHead(head, 0);
    const start = head.subarray(recordHeadBytes);
    const chunk = chunkAt(code, length, start);
    const bodyAt = at + recordHeadBytes;
    const isLikely = !chunk && isPlausibleRecord(code, length, start) && length <= longestRecordBytes;
    const body = isLikely && bodyAt + length <= sizeBytes ? await readBytes(file, bodyAt, length) : null;
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
async function findChunk(file: OpenedFile, from: number): Promise<number> {
  const { sizeBytes } = file;
  const overlap = recordHeadBytes + chunkHeadBytes;
  for (let blockAt = from; blockAt < sizeBytes; blockAt += searchBytes) {
    const block = await readBytes(file, blockAt, searchBytes + overlap);
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

/** @returns the bytes from `at` on, fewer where the file ends. */
export async function readBytes(file: OpenedFile, at: number, length: number): Promise<Uint8Array> {
  const bytes = new Uint8Array(Math.max(0, Math.min(length, file.sizeBytes - at)));
  try {
    const { bytesRead } = await file.handle.read(bytes, 0, bytes.length, at);
    return bytes.subarray(0, bytesRead);
  } catch (error) {
    throw explainFileError(file.path, error);
  }
}

/**
 * @returns the start of the chunk that a record is, or null. Three sizes that agree make a chunk, whatever a damaged
 *   opcode says.
 */
function chunkAt(code: number, length: number, body: Uint8Array): ChunkHead | null {
  const chunk = parseChunkHead(length, body);
  return chunk && (code === opcode.chunk || (chunk.isSound && chunk.bodyBytes > chunkHeadBytes)) ? chunk : null;
}
