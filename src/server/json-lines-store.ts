import { closeSync, existsSync, fdatasync, openSync, readFileSync, renameSync, writeSync } from 'node:fs';
import path from 'node:path';
import { promisify } from 'node:util';
import { SeamwiseError } from '../foundation/errors.ts';
import type { Logger } from '../foundation/logger.ts';
import { readShotLines } from './shot-lines.ts';
import type { ShotStore } from './shot-store.ts';
import type { NumberedDocument } from './wire/live-document.ts';

const syncData = promisify(fdatasync);

/**
 * Keeps the documents in `shots.jsonl`, one a line, only ever appending. When it is full it becomes
 * `shots-before.jsonl` and a new one is begun; together they hold between one and two times `linesPerFile` documents.
 * A line is with the operating system before `append` returns, so that it outlives this process however that ends, and
 * on the disk soon after.
 */
export class JsonLinesStore implements ShotStore {
  readonly found: readonly NumberedDocument[];
  readonly #file: string;
  readonly #fileBefore: string;
  readonly #logger: Logger;
  readonly #linesPerFile: number;
  #descriptor: number | null;
  #lineCount: number;
  /** True when the file may not end with a line end. */
  #torn: boolean;
  #failure: string | null = null;
  #closed = false;
  #syncing: Promise<void> | null = null;
  #syncAgain = false;

  /**
   * @param folder an existing folder.
   * @throws SeamwiseError `shot-file-version` when a later version of the program wrote there, `data-folder` when a
   * file there cannot be read or opened.
   */
  constructor(folder: string, logger: Logger, linesPerFile = 1000) {
    this.#file = path.join(folder, 'shots.jsonl');
    this.#fileBefore = path.join(folder, 'shots-before.jsonl');
    this.#logger = logger;
    this.#linesPerFile = linesPerFile;
    const before = this.#read(this.#fileBefore);
    const now = this.#read(this.#file);
    this.#descriptor = inFolder(folder, () => openSync(this.#file, 'a', 0o600));
    const lastBefore = before.documents.at(-1)?.seq ?? 0;
    this.found = [...before.documents, ...now.documents.filter((document) => document.seq > lastBefore)];
    this.#torn = now.torn;
    this.#lineCount = now.documents.length;
  }

  get failure(): string | null {
    return this.#failure;
  }

  append(document: NumberedDocument, text: string): void {
    // A flight that was no shot and takes back none is of no use after a restart.
    if (this.#closed || document.shotId === null) return;
    try {
      if (this.#lineCount >= this.#linesPerFile) this.#beginNewFile();
      this.#descriptor ??= openSync(this.#file, 'a', 0o600);
      // A line end first keeps a torn line from spoiling this one too.
      const bytes = Buffer.from(`${this.#torn ? '\n' : ''}${text}\n`);
      this.#torn = true;
      let written = 0;
      while (written < bytes.length) written += writeSync(this.#descriptor, bytes, written);
      this.#torn = false;
      this.#lineCount += 1;
      this.#report(null);
      this.#syncSoon();
    } catch (error) {
      this.#report(error);
    }
  }

  async close(): Promise<void> {
    this.#closed = true;
    while (this.#syncing) await this.#syncing;
    if (this.#descriptor !== null) closeSync(this.#descriptor);
    this.#descriptor = null;
  }

  #read(file: string): ReturnType<typeof readShotLines> {
    if (!existsSync(file)) return { documents: [], badLines: [], torn: false, cutOff: false };
    const text = inFolder(path.dirname(file), () => readFileSync(file, 'utf8'));
    const lines = readShotLines(text, file);
    if (lines.cutOff) this.#logger.warn({ file }, 'the last line was cut off when the service ended and is left out');
    if (lines.badLines.length > 0) {
      this.#logger.warn({ file, lines: lines.badLines.slice(0, 20) }, 'lines that could not be read are left out');
    }
    return lines;
  }

  #beginNewFile(): void {
    const full = this.#descriptor;
    this.#descriptor = null;
    // A sync still under way on the old descriptor ends with an error, which is of no account: it is closed after it.
    if (full !== null) void (this.#syncing ?? Promise.resolve()).then(() => closeSync(full));
    renameSync(this.#file, this.#fileBefore);
    this.#lineCount = 0;
    this.#torn = false;
  }

  #syncSoon(): void {
    if (this.#syncing) {
      this.#syncAgain = true;
      return;
    }
    const descriptor = this.#descriptor;
    if (descriptor === null) return;
    this.#syncing = syncData(descriptor)
      .catch((error: unknown) => this.#report(error))
      .then(() => {
        this.#syncing = null;
        if (!this.#syncAgain) return;
        this.#syncAgain = false;
        this.#syncSoon();
      });
  }

  /** Remembers a trouble and logs it once, and once more when it is over. */
  #report(error: unknown): void {
    const was = this.#failure;
    this.#failure = error === null ? null : error instanceof Error ? error.message : String(error);
    if (this.#failure !== null && was === null) {
      this.#logger.error(
        { file: this.#file, why: this.#failure },
        'shots cannot be stored and will be lost at a restart; free the disk or mend the folder',
      );
    } else if (this.#failure === null && was !== null) {
      this.#logger.info({ file: this.#file }, 'shots are stored again');
    }
  }
}

function inFolder<Result>(folder: string, work: () => Result): Result {
  try {
    return work();
  } catch (error) {
    const why = error instanceof Error ? error.message : String(error);
    throw new SeamwiseError('data-folder', `data folder ${folder}: ${why}. Mend it or name another folder.`);
  }
}
