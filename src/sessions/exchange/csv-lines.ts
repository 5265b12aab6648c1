/**
 * Bytes of a text file → lines, with bounded memory.
 *
 * Rows are split here and not by csv-parse (which reads the header): a recording holds plain numbers, so that a row
 * never spans lines, and a damaged file must cost only its damaged lines. csv-parse 7.0 with quotes on swallows the
 * rest of a file after one stray quote, ends the file at an overlong line, and takes 2.3–4.4 s per million rows
 * (Node 20, 7 columns) against 1.0 s here; the whole analysis is meant to need less than 10 s.
 */

import type { OpenedFile } from '../recording-file.ts';
import { explainFileError } from '../recording-file.ts';

/** Longest line that is read; longer ones come out as null. */
export const longestLineBytes = 16_384;

const readBytes = 262_144;

export interface LineBatch {
  /** Number of the first line, counted from 1. */
  readonly firstLine: number;
  /** Lines without their line end, one character a byte (latin1); null for an overlong one. */
  readonly lines: readonly (string | null)[];
  /** Bytes of the file consumed up to the end of this batch. */
  readonly endByte: number;
}

/**
 * Reads a file line by line in batches of about 256 KiB. A file that ends without a line end gives its last line too.
 *
 * @throws UnreadableRecordingError `recording-read-failed` when the operating system refuses.
 */
export async function* readLines(file: OpenedFile): AsyncGenerator<LineBatch> {
  const buffer = Buffer.allocUnsafe(readBytes);
  let tail = '';
  let overlong = false;
  let firstLine = 1;
  let endByte = 0;
  for (;;) {
    const bytes = await readAt(file, buffer, endByte);
    const atEnd = bytes === 0;
    endByte += bytes;
    const text = tail + buffer.toString('latin1', 0, bytes);
    const lines: (string | null)[] = [];
    let start = 0;
    for (let end = text.indexOf('\n', start); end >= 0; end = text.indexOf('\n', start)) {
      lines.push(overlong || end - start > longestLineBytes ? null : withoutReturn(text, start, end));
      overlong = false;
      start = end + 1;
    }
    tail = text.slice(start);
    if (tail.length > longestLineBytes) {
      overlong = true;
      tail = '';
    }
    if (atEnd && (tail !== '' || overlong)) lines.push(overlong ? null : withoutReturn(tail, 0, tail.length));
    if (lines.length > 0) yield { firstLine, lines, endByte };
    firstLine += lines.length;
    if (atEnd) return;
  }
}

function withoutReturn(text: string, start: number, end: number): string {
  return text.slice(start, end > start && text.charCodeAt(end - 1) === 13 ? end - 1 : end);
}

async function readAt(file: OpenedFile, buffer: Buffer, position: number): Promise<number> {
  try {
    return (await file.handle.read(buffer, 0, buffer.length, position)).bytesRead;
  } catch (error) {
    throw explainFileError(file.path, error);
  }
}
