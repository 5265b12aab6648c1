import { type FileHandle, open } from 'node:fs/promises';
import { UnreadableRecordingError } from './unreadable.ts';

/** A recording opened for reading: its handle, size and first bytes. Whoever opens it closes it. */
export interface OpenedFile {
  readonly path: string;
  readonly handle: FileHandle;
  readonly sizeBytes: number;
  /** At most the first 64 KiB. */
  readonly head: Uint8Array;
}

const headBytes = 65_536;
const mcapMagic = [0x89, 0x4d, 0x43, 0x41, 0x50, 0x30, 0x0d, 0x0a];

/**
 * Opens a recording and reads its first bytes.
 *
 * @throws UnreadableRecordingError `recording-missing`, `recording-not-a-file`, `recording-no-permission`, `recording-read-failed` or `recording-empty`.
 */
export async function openRecordingFile(path: string): Promise<OpenedFile> {
  let handle: FileHandle | undefined;
  try {
    handle = await open(path, 'r');
    const stat = await handle.stat();
    if (!stat.isFile()) {
      throw new UnreadableRecordingError('recording-not-a-file', {
        where: path,
        expected: 'a recording file',
        came: stat.isDirectory() ? 'a directory' : 'something that is not a plain file',
        remedy: stat.isDirectory()
          ? 'Name one file inside it: a CSV recording or a .mcap recording.'
          : 'Save what it gives as a file first, then name that file.',
      });
    }
    if (stat.size === 0) {
      throw new UnreadableRecordingError('recording-empty', {
        where: path,
        expected: 'a recording',
        came: 'an empty file (0 bytes)',
        remedy: 'Export or copy the recording again.',
      });
    }
    const head = new Uint8Array(Math.min(headBytes, stat.size));
    const { bytesRead } = await handle.read(head, 0, head.length, 0);
    return { path, handle, sizeBytes: stat.size, head: head.subarray(0, bytesRead) };
  } catch (error) {
    await handle?.close();
    throw explainFileError(path, error);
  }
}

/** @returns an `UnreadableRecordingError` for what the operating system said; such errors pass through unchanged. */
export function explainFileError(path: string, error: unknown): Error {
  if (error instanceof UnreadableRecordingError) return error;
  const code = error instanceof Error && 'code' in error ? String(error.code) : '';
  if (code === 'ENOENT' || code === 'ENOTDIR') {
    return new UnreadableRecordingError('recording-missing', {
      where: path,
      expected: 'a recording file',
      came: 'no file of that name',
      remedy: 'Check the spelling and the folder.',
    });
  }
  if (code === 'EACCES' || code === 'EPERM') {
    return new UnreadableRecordingError('recording-no-permission', {
      where: path,
      expected: 'a file that may be read',
      came: 'no permission to read it',
      remedy: "Change the file's permissions or copy it to where it can be read.",
    });
  }
  if (code === 'EISDIR') {
    return new UnreadableRecordingError('recording-not-a-file', {
      where: path,
      expected: 'a recording file',
      came: 'a directory',
      remedy: 'Name one file inside it: a CSV recording or a .mcap recording.',
    });
  }
  return new UnreadableRecordingError('recording-read-failed', {
    where: path,
    expected: 'a file that can be read to its end',
    came: error instanceof Error ? error.message : String(error),
    remedy: 'Copy the file to a local disk and try again.',
  });
}

/** @returns whether the bytes are the start of an MCAP container (MCAP format specification, "Magic"). */
export function startsAsMcap(head: Uint8Array): boolean {
  return mcapMagic.every((byte, index) => head[index] === byte);
}
