import { mkdirSync, rmSync } from 'node:fs';
import type { Worker } from 'node:worker_threads';
import type { SensorSetup } from '../../live/sensor-setup.ts';
import type { WireSignalStream } from '../wire/signal-document.ts';
import type { WindowQuestion } from './encode-window.ts';
import { startThread } from './job-thread.ts';
import type { FromSignalThread, ToSignalThread } from './signal-thread.ts';

/** What is known of the samples of a session. */
export type KnownSignals =
  | { readonly state: 'reading'; readonly share: number }
  | { readonly state: 'ready'; readonly streams: readonly WireSignalStream[]; readonly readS: number }
  | { readonly state: 'failed'; readonly message: string };

export interface SignalRecording {
  readonly file: string;
  readonly startedS: number;
  readonly setups: Readonly<Record<string, SensorSetup>>;
}

/** Recordings of which samples are held at once; each is a file of about 33 bytes a sample. */
const mostHeld = 3;
/** A thread that nobody asks is let go after this, ms. */
const idleMs = 10 * 60_000;

/** Gives out samples of recordings, which a thread of its own reads once into a file that goes with it. */
export class SignalReader {
  readonly #folder: string;
  readonly #nowS: () => number;
  readonly #known = new Map<string, KnownSignals>();
  readonly #waiting = new Map<number, { resolve(bytes: ArrayBuffer): void; reject(error: Error): void }>();
  readonly #opening = new Map<number, string>();
  #worker: Worker | null = null;
  #idle: NodeJS.Timeout | null = null;
  #count = 0;

  /** @param folder for files that nobody else needs; whatever is in it goes. */
  constructor(folder: string, nowS: () => number) {
    this.#folder = folder;
    this.#nowS = nowS;
    rmSync(folder, { recursive: true, force: true });
  }

  /** @returns what is known of a session's samples now, or null where nobody has opened it. */
  known(sessionId: string): KnownSignals | null {
    const known = this.#known.get(sessionId) ?? null;
    // The newest stands last.
    if (known && this.#known.delete(sessionId)) this.#known.set(sessionId, known);
    return known;
  }

  /** Begins to read a recording, anew where it was read before. */
  open(sessionId: string, { file, startedS, setups }: SignalRecording): KnownSignals {
    const worker = this.#running();
    this.#known.delete(sessionId);
    for (const [oldest, { state }] of this.#known) {
      if (this.#known.size < mostHeld) break;
      if (state === 'reading') continue;
      this.#known.delete(oldest);
      this.#send(worker, { kind: 'close', key: oldest });
    }
    const known: KnownSignals = { state: 'reading', share: 0 };
    this.#known.set(sessionId, known);
    const id = ++this.#count;
    this.#opening.set(id, sessionId);
    this.#send(worker, { kind: 'open', id, key: sessionId, file, startedS, setups });
    return known;
  }

  /** @returns a stretch, encoded. Ask only for what is `ready`. */
  window(sessionId: string, question: WindowQuestion): Promise<ArrayBuffer> {
    const id = ++this.#count;
    return new Promise((resolve, reject) => {
      this.#waiting.set(id, { resolve, reject });
      this.#send(this.#running(), { kind: 'window', id, key: sessionId, question });
    });
  }

  /** Forgets everything; the files go. */
  async close(): Promise<void> {
    if (this.#idle) clearTimeout(this.#idle);
    const worker = this.#worker;
    this.#worker = null;
    this.#forget('the service stops');
    await worker?.terminate();
    rmSync(this.#folder, { recursive: true, force: true });
  }

  #running(): Worker {
    if (this.#idle) clearTimeout(this.#idle);
    this.#idle = setTimeout(() => void this.close(), idleMs);
    this.#idle.unref();
    if (this.#worker) return this.#worker;
    mkdirSync(this.#folder, { recursive: true, mode: 0o700 });
    const worker = startThread(threadFile, { folder: this.#folder });
    worker.unref();
    worker.on('message', (said: FromSignalThread) => this.#take(said));
    worker.on('error', (error) => {
      if (this.#worker !== worker) return;
      this.#worker = null;
      this.#forget(error.message);
    });
    this.#worker = worker;
    return worker;
  }

  #send(worker: Worker, message: ToSignalThread): void {
    worker.postMessage(message);
  }

  #take(said: FromSignalThread): void {
    if (said.kind === 'share') {
      if (this.#known.get(said.key)?.state === 'reading')
        this.#known.set(said.key, { state: 'reading', share: said.share });
      return;
    }
    const sessionId = this.#opening.get(said.id);
    this.#opening.delete(said.id);
    const waiting = this.#waiting.get(said.id);
    this.#waiting.delete(said.id);
    if (said.kind === 'window') waiting?.resolve(said.bytes);
    else if (said.kind === 'failed') {
      if (sessionId !== undefined) this.#known.set(sessionId, { state: 'failed', message: said.message });
      waiting?.reject(new Error(said.message));
    } else if (sessionId !== undefined) {
      this.#known.set(sessionId, { state: 'ready', streams: said.streams, readS: this.#nowS() });
    }
  }

  #forget(reason: string): void {
    this.#known.clear();
    this.#opening.clear();
    for (const { reject } of this.#waiting.values()) reject(new Error(reason));
    this.#waiting.clear();
  }
}

const threadFile = new URL(
  import.meta.url.endsWith('.ts') ? './signal-thread.ts' : './signal-thread.js',
  import.meta.url,
);
