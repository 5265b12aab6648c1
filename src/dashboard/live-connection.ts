import type { LiveDocument } from '../server/wire/live-document.ts';

export type ConnectionState = 'connecting' | 'open' | 'lost';

/** What the connection needs of a browser's WebSocket. */
export interface LiveSocket {
  onopen: (() => void) | null;
  onmessage: ((event: { readonly data: unknown }) => void) | null;
  onclose: (() => void) | null;
  close(): void;
}

export interface LiveConnectionOptions {
  /** Opens a socket that asks for what lies above `since`. */
  readonly open: (since: number | null) => LiveSocket;
  /** Highest number that the page has, asked for at every new start. */
  readonly since: () => number | null;
  readonly onDocument: (document: LiveDocument) => void;
  readonly onState: (state: ConnectionState) => void;
  /** Called when the service sends documents of a version that this page does not know. */
  readonly onNewerService: () => void;
  readonly setTimer: (callback: () => void, delayMs: number) => number;
  readonly clearTimer: (timer: number) => void;
  /** From 0 to 1. */
  readonly random: () => number;
}

const firstWaitMs = 250;
const longestWaitMs = 4000;
/** A service with a sensor says something every second. */
const silenceMs = 8000;

/** Keeps a connection to the service: opens it again by itself, faster at first, and asks for what was missed. */
export class LiveConnection {
  readonly #options: LiveConnectionOptions;
  #socket: LiveSocket | null = null;
  #waitMs = firstWaitMs;
  #retryTimer: number | null = null;
  #silenceTimer: number | null = null;
  #stopped = false;

  constructor(options: LiveConnectionOptions) {
    this.#options = options;
  }

  start(): void {
    this.#options.onState('connecting');
    this.#open();
  }

  stop(): void {
    this.#stopped = true;
    this.#clear();
    this.#socket?.close();
  }

  /** Tries at once, as when the page comes to the front or the network is back. */
  retryNow(): void {
    if (this.#retryTimer === null) return;
    this.#clear();
    this.#waitMs = firstWaitMs;
    this.#open();
  }

  #open(): void {
    if (this.#stopped) return;
    const { open, since, onState } = this.#options;
    const socket = open(since());
    this.#socket = socket;
    const isCurrent = (): boolean => this.#socket === socket;
    socket.onopen = () => {
      if (!isCurrent()) return;
      onState('open');
      this.#listenForSilence();
    };
    socket.onmessage = (event) => {
      if (!isCurrent()) return;
      // Only a service that also speaks counts as one that is back.
      this.#waitMs = firstWaitMs;
      this.#listenForSilence();
      this.#take(event.data);
    };
    socket.onclose = () => {
      if (isCurrent()) this.#lost();
    };
  }

  #take(data: unknown): void {
    let document: LiveDocument;
    try {
      document = JSON.parse(String(data)) as LiveDocument;
    } catch {
      return;
    }
    if (document.v !== 1) {
      this.#options.onNewerService();
      return;
    }
    this.#options.onDocument(document);
  }

  #lost(): void {
    this.#clear();
    this.#socket = null;
    if (this.#stopped) return;
    this.#options.onState('lost');
    // Many pages must not come back in one instant.
    const delayMs = this.#waitMs * (0.75 + 0.5 * this.#options.random());
    this.#waitMs = Math.min(2 * this.#waitMs, longestWaitMs);
    this.#retryTimer = this.#options.setTimer(() => {
      this.#retryTimer = null;
      this.#open();
    }, delayMs);
  }

  #listenForSilence(): void {
    if (this.#silenceTimer !== null) this.#options.clearTimer(this.#silenceTimer);
    this.#silenceTimer = this.#options.setTimer(() => {
      const socket = this.#socket;
      this.#lost();
      socket?.close();
    }, silenceMs);
  }

  #clear(): void {
    if (this.#retryTimer !== null) this.#options.clearTimer(this.#retryTimer);
    if (this.#silenceTimer !== null) this.#options.clearTimer(this.#silenceTimer);
    this.#retryTimer = null;
    this.#silenceTimer = null;
  }
}
