import { execFileSync } from 'node:child_process';
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { fileURLToPath } from 'node:url';

/** One thing that a process did to its files, as `write-log.c` wrote it down. */
export interface DiskRecord {
  readonly atNs: bigint;
  readonly kind: string;
  readonly file: number;
  readonly offset: number;
  readonly bytes: Buffer;
}

const headBytes = 25;
const compiler = 'gcc';

/** Compiles the log. @returns the library, or why there is none. */
export function buildWriteLog(folder: string): { readonly library: string } | { readonly missing: string } {
  if (process.platform !== 'linux') return { missing: 'no Linux' };
  const library = path.join(folder, 'write-log.so');
  const source = fileURLToPath(new URL('./write-log.c', import.meta.url));
  try {
    execFileSync(compiler, ['-shared', '-fPIC', '-O1', '-o', library, source, '-ldl', '-lpthread'], { stdio: 'pipe' });
    return { library };
  } catch (error) {
    const { code, stderr } = error as { code?: string; stderr?: Buffer };
    if (code === 'ENOENT') return { missing: 'no C compiler' };
    throw new Error(`write-log.c does not compile: ${stderr?.toString() ?? String(error)}`);
  }
}

/** @returns environment that makes a process keep the log. */
export function writeLogEnvironment(library: string, log: string, folder: string): Record<string, string> {
  return { LD_PRELOAD: library, WRITE_LOG: log, WRITE_LOG_FOLDER: folder };
}

/** @returns what stands in a log, a record cut off at its end left out. */
export function readWriteLog(file: string): DiskRecord[] {
  const log = readFileSync(file);
  const records: DiskRecord[] = [];
  for (let at = 0; at + headBytes <= log.length; ) {
    const length = log.readUInt32LE(at + 21);
    if (at + headBytes + length > log.length) break;
    records.push({
      atNs: log.readBigUInt64LE(at),
      kind: String.fromCharCode(log[at + 8] as number),
      file: log.readUInt32LE(at + 9),
      offset: Number(log.readBigUInt64LE(at + 13)),
      bytes: log.subarray(at + headBytes, at + headBytes + length),
    });
    at += headBytes + length;
  }
  return records;
}

interface DiskFile {
  synced: Buffer;
  /** Writes and cuts since the last sync, in their order. */
  pending: DiskRecord[];
}

const sectorBytes = 512;

/**
 * A disk that is sure of nothing but what was synced: contents of files by the sync of the file, names by the sync of their
 * folder.
 */
export class PowerlessDisk {
  readonly #root: string;
  readonly #names = new Map<string, DiskFile | 'folder'>();
  readonly #syncedNames = new Map<string, DiskFile | 'folder'>();
  readonly #files = new Map<number, DiskFile>();
  syncCount = 0;

  /** @param root the folder that the log followed, empty at the start. */
  constructor(root: string) {
    this.#root = root;
  }

  apply(record: DiskRecord): void {
    const { kind, file, bytes } = record;
    const name = bytes.toString('utf8');
    if (kind === 'o') {
      const known = this.#names.get(name);
      const opened = known !== undefined && known !== 'folder' ? known : { synced: Buffer.alloc(0), pending: [] };
      this.#names.set(name, opened);
      this.#files.set(file, opened);
      // An opening that empties the file.
      if ((record.offset & 0o1000) !== 0) opened.pending.push({ ...record, kind: 't', offset: 0 });
    } else if (kind === 'm') this.#names.set(name, 'folder');
    else if (kind === 'u') this.#names.delete(name);
    else if (kind === 'r') {
      const [from = '', to = ''] = name.split('\0');
      const moved = this.#names.get(from);
      if (moved !== undefined) this.#names.set(to, moved);
      this.#names.delete(from);
    } else if (kind === 'd') this.#syncNames(name);
    else this.#applyToFile(record);
  }

  /**
   * Makes a folder as a loss of power would have left it now.
   *
   * @param survives whether a write, or a sector of one, since the last sync got to the disk all the same; none by default.
   */
  saveTo(folder: string, survives: () => boolean = () => false): void {
    mkdirSync(folder, { recursive: true });
    for (const [name, file] of this.#syncedNames) {
      const target = path.join(folder, path.relative(this.#root, name));
      mkdirSync(file === 'folder' ? target : path.dirname(target), { recursive: true });
      if (file !== 'folder') writeFileSync(target, withSome(file, survives));
    }
  }

  #applyToFile(record: DiskRecord): void {
    const file = this.#files.get(record.file);
    if (!file) throw new Error(`a ${record.kind} of file ${record.file}, which was not opened`);
    if (record.kind !== 's') {
      file.pending.push(record);
      return;
    }
    this.syncCount += 1;
    for (const pending of file.pending) file.synced = applied(file.synced, pending);
    file.pending = [];
  }

  #syncNames(folder: string): void {
    this.syncCount += 1;
    const isIn = (name: string) => path.dirname(name) === folder;
    for (const name of [...this.#syncedNames.keys()]) if (isIn(name)) this.#syncedNames.delete(name);
    for (const [name, file] of this.#names) if (isIn(name)) this.#syncedNames.set(name, file);
  }
}

function withSome({ synced, pending }: DiskFile, survives: () => boolean): Buffer {
  let content: Buffer = Buffer.from(synced);
  for (const record of pending) {
    if (record.kind === 't') {
      if (survives()) content = applied(content, record);
      continue;
    }
    for (let at = 0; at < record.bytes.length; ) {
      const end = Math.min(record.bytes.length, at + sectorBytes - ((record.offset + at) % sectorBytes));
      if (survives())
        content = applied(content, { ...record, offset: record.offset + at, bytes: record.bytes.subarray(at, end) });
      at = end;
    }
  }
  return content;
}

function applied(content: Buffer, { kind, offset, bytes }: DiskRecord): Buffer {
  if (kind === 't') return resized(content, offset);
  const next = resized(content, Math.max(content.length, offset + bytes.length));
  bytes.copy(next, offset);
  return next;
}

function resized(content: Buffer, size: number): Buffer {
  if (content.length === size) return content;
  const next = Buffer.alloc(size);
  content.copy(next, 0, 0, Math.min(size, content.length));
  return next;
}
