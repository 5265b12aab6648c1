import type { ShotLog } from './shot-log.ts';
import type { HelloDocument } from './wire/live-document.ts';

/** What the writer needs of a WebSocket. */
export interface WriterSocket {
  /** Bytes handed over and not yet taken by the network. */
  readonly bufferedAmount: number;
  send(text: string, done: (error?: Error | null) => void): void;
  terminate(): void;
}

export interface ClientWriterOptions {
  readonly socket: WriterSocket;
  readonly log: ShotLog;
  /** Makes the greeting as of now. */
  readonly hello: (catchUp: HelloDocument['catchUp']) => string;
  /** Makes the list of players as this client may know it, or null where there is none. */
  readonly roster?: () => string | null;
  /** Makes the present state of one sensor, or null when it is gone. */
  readonly sensorState: (sensorId: string) => string | null;
  /** Highest number the client has, or null when it has none. */
  readonly since: number | null;
  readonly latestShotCount: number;
}

/** Nothing more is handed to a socket that holds this much back. */
const highWaterBytes = 64 * 1024;

/**
 * The one way to a client. It holds no queue of its own: it remembers which number the client has reached and which
 * sensors have changed, and reads both when the socket has room. A client that cannot follow therefore stalls nobody,
 * and gets the present state when it can read again.
 */
export class ClientWriter {
  readonly #options: ClientWriterOptions;
  readonly #changedSensors = new Set<string>();
  #cursor = 0;
  #greeting: HelloDocument['catchUp'] | null = null;
  #rosterIsDue = true;
  #tookSinceCheck = false;
  #blockedChecks = 0;
  #closed = false;

  constructor(options: ClientWriterOptions) {
    this.#options = options;
    const { log, since } = options;
    if (since === null || since > log.lastSeq) this.#startOver('latest');
    else if (since < log.droppedSeq) this.#startOver('incomplete');
    else {
      this.#cursor = since;
      this.#greeting = 'complete';
    }
    this.wake();
  }

  /** Says that there may be something to send. */
  wake(): void {
    const { socket, log, hello, sensorState } = this.#options;
    while (!this.#closed && socket.bufferedAmount < highWaterBytes) {
      if (this.#greeting === null && this.#cursor < log.droppedSeq) this.#startOver('incomplete');
      if (this.#greeting !== null) {
        const text = hello(this.#greeting);
        this.#greeting = null;
        // The greeting holds the state of every sensor.
        this.#changedSensors.clear();
        this.#send(text);
        continue;
      }
      // Before the shots, which name players by their ids alone.
      if (this.#rosterIsDue) {
        this.#rosterIsDue = false;
        const text = this.#options.roster?.() ?? null;
        if (text !== null) this.#send(text);
        continue;
      }
      const entry = log.nextAfter(this.#cursor);
      if (entry) {
        this.#cursor = entry.seq;
        this.#send(entry.text);
        continue;
      }
      const changed = this.#changedSensors.values().next();
      if (changed.done) return;
      this.#changedSensors.delete(changed.value);
      const text = sensorState(changed.value);
      if (text !== null) this.#send(text);
    }
  }

  /** Greets the client once more. */
  greet(): void {
    this.#greeting ??= 'complete';
    this.wake();
  }

  /** Says that players were changed. */
  rosterChanged(): void {
    this.#rosterIsDue = true;
    this.wake();
  }

  /** Says that the state of a sensor has changed. */
  sensorChanged(sensorId: string): void {
    this.#changedSensors.add(sensorId);
    this.wake();
  }

  /**
   * To be called at a steady pace. A client that took nothing over several calls is cut off; it may come back and
   * catch up.
   *
   * @returns false when the client was cut off.
   */
  check(checksUntilCut = 3): boolean {
    const blocked = this.#options.socket.bufferedAmount >= highWaterBytes;
    this.#blockedChecks = blocked && !this.#tookSinceCheck ? this.#blockedChecks + 1 : 0;
    this.#tookSinceCheck = false;
    if (this.#blockedChecks < checksUntilCut) return true;
    this.#options.socket.terminate();
    this.close();
    return false;
  }

  /** Sends nothing any more. */
  close(): void {
    this.#closed = true;
  }

  #startOver(catchUp: 'latest' | 'incomplete'): void {
    const { log, latestShotCount } = this.#options;
    this.#greeting = catchUp;
    if (catchUp === 'incomplete') {
      this.#cursor = log.droppedSeq;
      return;
    }
    const seqs = log.latestShots(latestShotCount).map(({ seq }) => seq);
    this.#cursor = seqs.length > 0 ? Math.min(...seqs) - 1 : log.lastSeq;
  }

  #send(text: string): void {
    this.#options.socket.send(text, (error) => {
      // A failed send means a closing socket; its own close event ends this writer.
      if (error) return;
      this.#tookSinceCheck = true;
      this.wake();
    });
  }
}
