import { randomBytes } from 'node:crypto';
import { mkdirSync, rmSync, statfsSync, utimesSync } from 'node:fs';
import { type FileHandle, open } from 'node:fs/promises';
import path from 'node:path';
import { SeamwiseError } from '../../foundation/errors.ts';

/** What a page announces. */
export interface AnnouncedFile {
  readonly name: string;
  readonly bytes: number;
  /** When it was changed last, s since the Unix epoch: of a CSV file that says no more, this is when it was. */
  readonly modifiedS: number | null;
}

export interface UploadLimits {
  readonly partBytes: number;
  /** Of all files of an import together. */
  readonly limitBytes: number;
}

export const uploadLimits: UploadLimits = { partBytes: 4 * 1024 * 1024, limitBytes: 8_000_000_000 };

const mostUploads = 4;
/** An upload that nobody goes on with is thrown away, ms. */
const idleMs = 10 * 60_000;
/** Stays free on the disk, bytes. */
const spareBytes = 500_000_000;

interface Upload {
  readonly folder: string;
  readonly files: {
    readonly path: string;
    readonly bytes: number;
    readonly modifiedS: number | null;
    received: number;
  }[];
  idle: NodeJS.Timeout;
  isTaken: boolean;
  writing: Promise<unknown>;
}

/** Files on their way into the data folder, part by part. What is not taken by an import goes again. */
export class Uploads {
  readonly #folder: string;
  readonly #limits: UploadLimits;
  readonly #uploads = new Map<string, Upload>();

  /** @param folder for these files alone; whatever is in it goes. */
  constructor(folder: string, limits: UploadLimits = uploadLimits) {
    this.#folder = folder;
    this.#limits = limits;
    rmSync(folder, { recursive: true, force: true });
  }

  get limits(): UploadLimits {
    return this.#limits;
  }

  /** @returns the id of the upload. @throws SeamwiseError `upload-too-large`, `upload-refused` or `store-taken`. */
  announce(files: readonly AnnouncedFile[]): string {
    const total = files.reduce((sum, { bytes }) => sum + bytes, 0);
    const { limitBytes } = this.#limits;
    if (total > limitBytes) {
      throw new SeamwiseError(
        'upload-too-large',
        `${inWords(total)}: expected at most ${inWords(limitBytes)} in one import. Use "seamwise import" on this machine for more.`,
      );
    }
    const empty = files.find(({ bytes }) => bytes === 0);
    if (empty) throw new SeamwiseError('upload-refused', `${shownName(empty.name)} is empty: expected a recording`);
    if (this.#uploads.size >= mostUploads) {
      throw new SeamwiseError('store-taken', `${mostUploads} imports are being sent already: wait for one of them`);
    }
    mkdirSync(this.#folder, { recursive: true, mode: 0o700 });
    const { bavail, bsize } = statfsSync(this.#folder);
    const free = bavail * bsize;
    // It lies there twice while it is imported.
    if (2 * total + spareBytes > free) {
      throw new SeamwiseError(
        'upload-too-large',
        `${inWords(total)} need ${inWords(2 * total + spareBytes)} of the disk that the data lie on, of which ${inWords(free)} are free`,
      );
    }
    const id = randomBytes(12).toString('base64url');
    const folder = path.join(this.#folder, id);
    const placed = files.map(({ name, bytes, modifiedS }, index) => {
      // Each in a folder of its own: two may have the same name, and the name goes on as that of the session.
      const own = path.join(folder, String(index));
      mkdirSync(own, { recursive: true, mode: 0o700 });
      return { path: path.join(own, safeFileName(name)), bytes, modifiedS, received: 0 };
    });
    this.#uploads.set(id, { folder, files: placed, idle: this.#idle(id), isTaken: false, writing: Promise.resolve() });
    return id;
  }

  /**
   * Puts the next part of a file behind what has come.
   *
   * @param at bytes of the file before the part. @returns bytes that have come.
   * @throws SeamwiseError `store-missing` or `upload-refused`; the file stays as it was.
   */
  async append(id: string, index: number, at: number, part: Uint8Array): Promise<number> {
    const upload = this.#upload(id);
    clearTimeout(upload.idle);
    upload.idle = this.#idle(id);
    const file = upload.files[index];
    if (!file)
      throw new SeamwiseError(
        'store-missing',
        `file ${index} of this import: expected 0 to ${upload.files.length - 1}`,
      );
    const work = upload.writing.then(async () => {
      if (at !== file.received) {
        throw new SeamwiseError(
          'upload-refused',
          `a part at byte ${at}: expected the one at byte ${file.received}. Send it from there.`,
        );
      }
      if (at + part.length > file.bytes) {
        throw new SeamwiseError(
          'upload-refused',
          `a part up to byte ${at + part.length}: expected no more than the ${file.bytes} bytes that were announced`,
        );
      }
      const handle = await open(file.path, at === 0 ? 'w' : 'r+', 0o600);
      await writeAt(handle, part, at);
      file.received = at + part.length;
      return file.received;
    });
    upload.writing = work.catch(() => {});
    return work;
  }

  /** @returns paths of the files, which are all there. @throws SeamwiseError `store-missing` or `upload-refused`. */
  take(id: string): readonly string[] {
    const upload = this.#upload(id);
    const missing = upload.files.find(({ bytes, received }) => received < bytes);
    if (missing) {
      throw new SeamwiseError(
        'upload-refused',
        `${path.basename(missing.path)}: ${missing.received} of ${missing.bytes} bytes have come. Send the rest first.`,
      );
    }
    clearTimeout(upload.idle);
    upload.isTaken = true;
    for (const { path: file, modifiedS } of upload.files)
      if (modifiedS !== null) utimesSync(file, modifiedS, modifiedS);
    return upload.files.map((file) => file.path);
  }

  /** @returns where the files of an upload lie, as messages may name it. */
  folderOf(id: string): string {
    return path.join(this.#folder, id);
  }

  /** Throws an upload away. Those that are not there are none. */
  remove(id: string): void {
    const upload = this.#uploads.get(id);
    if (!upload) return;
    clearTimeout(upload.idle);
    this.#uploads.delete(id);
    rmSync(upload.folder, { recursive: true, force: true });
  }

  /** Throws everything away. */
  close(): void {
    for (const id of [...this.#uploads.keys()]) this.remove(id);
    rmSync(this.#folder, { recursive: true, force: true });
  }

  #upload(id: string): Upload {
    const upload = this.#uploads.get(id);
    if (upload && !upload.isTaken) return upload;
    throw new SeamwiseError(
      'store-missing',
      'there is no such import: it was begun, stopped, or waited for too long. Begin anew.',
    );
  }

  #idle(id: string): NodeJS.Timeout {
    const timer = setTimeout(() => this.remove(id), idleMs);
    timer.unref();
    return timer;
  }
}

async function writeAt(handle: FileHandle, part: Uint8Array, at: number): Promise<void> {
  try {
    for (let done = 0; done < part.length; ) {
      done += (await handle.write(part, done, part.length - done, at + done)).bytesWritten;
    }
  } finally {
    await handle.close();
  }
}

/** @returns a name that is one file of one folder on every platform, whatever was sent. */
export function safeFileName(name: string): string {
  const last = name.split(/[\\/]/).at(-1) ?? '';
  const plain = last
    .normalize('NFC')
    .replace(/[^\p{L}\p{N}._ ()+-]/gu, '_')
    .replace(/^[. ]+|[. ]+$/g, '');
  const extension = /\.[A-Za-z0-9]{1,8}$/.exec(plain)?.[0] ?? '';
  const stem = plain.slice(0, plain.length - extension.length).slice(0, 80);
  // Names that mean a device to some platforms.
  const isDevice = /^(con|prn|aux|nul|com\d|lpt\d)$/i.test(stem);
  return `${stem === '' || isDevice ? `recording${stem && `-${stem}`}` : stem}${extension}`;
}

function shownName(name: string): string {
  return JSON.stringify(safeFileName(name));
}

function inWords(bytes: number): string {
  return bytes >= 1e9 ? `${(bytes / 1e9).toFixed(1)} GB` : `${(bytes / 1e6).toFixed(1)} MB`;
}
