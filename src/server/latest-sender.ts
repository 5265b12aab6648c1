/** What is needed of a WebSocket. */
export interface LatestSocket {
  /** Bytes handed over and not yet taken by the network. */
  readonly bufferedAmount: number;
  send(text: string, done: (error?: Error | null) => void): void;
  terminate(): void;
}

/** Nothing more is handed to a socket that holds this much back. */
const highWaterBytes = 32 * 1024;
/** A page that took nothing for so long is cut off; it may come back. */
const cutAfterS = 30;

/**
 * The way to a page for documents of which each says all that the ones before it said: while the page takes nothing, one waits, always
 * the last, so that a page that does not read costs no more memory than one that does.
 */
export class LatestSender {
  readonly #socket: LatestSocket;
  readonly #nowS: () => number;
  #waiting: string | null = null;
  #blockedSinceS: number | null = null;

  constructor(socket: LatestSocket, nowS: () => number) {
    this.#socket = socket;
    this.#nowS = nowS;
  }

  send(text: string): void {
    this.#waiting = text;
    this.#flush();
  }

  #flush(): void {
    const text = this.#waiting;
    if (text === null) return;
    if (this.#socket.bufferedAmount < highWaterBytes) {
      this.#waiting = null;
      this.#blockedSinceS = null;
      // Called when the network has taken it: there may be room then for what has come since.
      this.#socket.send(text, (error) => {
        if (!error) this.#flush();
      });
      return;
    }
    this.#blockedSinceS ??= this.#nowS();
    if (this.#nowS() - this.#blockedSinceS >= cutAfterS) this.#socket.terminate();
  }
}
