import { closeSync, openSync, readdirSync, readSync } from 'node:fs';
import path from 'node:path';

const blockBytes = 4 * 2 ** 20;

/**
 * Looks through every byte of every file of a folder and the folders in it.
 *
 * @param texts what is looked for, as words of their own ("Player 1" is not found in "Player 12"), in capitals or not.
 * @param except names of files that are left out.
 * @returns files that hold one of the texts, as paths within the folder.
 */
export function findTraces(folder: string, texts: readonly string[], except: readonly string[] = []): string[] {
  const needles = texts.filter((text) => text.length > 0).map((text) => lowered(Buffer.from(text, 'utf8')));
  return readdirSync(folder, { recursive: true, withFileTypes: true })
    .filter((entry) => entry.isFile() && !except.includes(entry.name))
    .map((entry) => path.join(entry.parentPath, entry.name))
    .filter((file) => holdsOne(file, needles))
    .map((file) => path.relative(folder, file))
    .sort();
}

function holdsOne(file: string, needles: readonly string[]): boolean {
  // Each block begins with the end of the one before: long enough for what stands across, and the letter before it.
  const overlap = Math.max(...needles.map(({ length }) => length), 0) + 1;
  const buffer = Buffer.alloc(blockBytes + overlap);
  const descriptor = openSync(file, 'r');
  try {
    let kept = 0;
    for (;;) {
      const read = readSync(descriptor, buffer, kept, blockBytes, null);
      const held = buffer.subarray(0, kept + read);
      const text = lowered(held);
      if (needles.some((needle) => holdsWord(text, needle, read === 0))) return true;
      if (read === 0) return false;
      const keep = Math.min(held.length, overlap);
      buffer.copyWithin(0, held.length - keep, held.length);
      kept = keep;
    }
  } finally {
    closeSync(descriptor);
  }
}

/** One character a byte, so that any file can be searched as a text. */
function lowered(bytes: Buffer): string {
  return bytes.toString('latin1').toLowerCase();
}

function holdsWord(held: string, needle: string, isEnd: boolean): boolean {
  for (let at = held.indexOf(needle); at >= 0; at = held.indexOf(needle, at + 1)) {
    const end = at + needle.length;
    // Its next letter is in the block to come.
    if (end === held.length && !isEnd) continue;
    if (!isLetter(held.charCodeAt(at - 1)) && !isLetter(held.charCodeAt(end))) return true;
  }
  return false;
}

/** ASCII letters and digits, and bytes of other letters in UTF-8. */
function isLetter(byte: number): boolean {
  return (byte >= 48 && byte <= 57) || (byte >= 97 && byte <= 122) || byte >= 128;
}
