import { type FileHandle, open } from 'node:fs/promises';
import path from 'node:path';

/** A file to which bytes are written at places, and which can be asked to hold them through a loss of power. */
export interface DurableFile {
  /** Writes all the bytes from byte `at` on. */
  write(bytes: Uint8Array, at: number): Promise<void>;
  /** Resolves when everything written so far is on the disk. */
  sync(): Promise<void>;
  close(): Promise<void>;
}

export type OpenDurableFile = (path: string) => Promise<DurableFile>;

/**
 * Makes a file, or empties one that is there, and sees that its name outlives a loss of power too.
 *
 * @throws the operating system's error when the file cannot be made.
 */
export async function openDurableFile(file: string): Promise<DurableFile> {
  const handle = await open(file, 'w', 0o600);
  await syncFolder(path.dirname(file));
  return {
    write: (bytes, at) => writeAll(handle, bytes, at),
    sync: () => handle.datasync(),
    close: () => handle.close(),
  };
}

async function writeAll(handle: FileHandle, bytes: Uint8Array, at: number): Promise<void> {
  for (let done = 0; done < bytes.length; ) {
    const { bytesWritten } = await handle.write(bytes, done, bytes.length - done, at + done);
    done += bytesWritten;
  }
}

/** Writes a folder's list of names to the disk, where the system can do that (Windows does it by itself). */
export async function syncFolder(folder: string): Promise<void> {
  let handle: FileHandle | undefined;
  try {
    handle = await open(folder, 'r');
    await handle.sync();
  } catch {
    // A system that cannot sync a folder: the file itself is synced.
  } finally {
    await handle?.close();
  }
}
