import WebSocket from 'ws';
import type { LiveDocument } from '../../src/server/wire/live-document.ts';

/** Something that a client was told, and when: nanoseconds of the machine's monotonic clock. */
export interface Told {
  readonly text: string;
  readonly atNs: bigint;
}

/** A client of the live stream that says of every final shot what became of it, and remembers what it was told. */
export class TaggingClient {
  /** Final shots that were told of as stored, by name. */
  readonly shots = new Map<string, Told>();
  /** Outcomes that the service has confirmed, by the name of the shot. */
  readonly tags = new Map<string, Told>();
  /** Final shots that were told of as not stored. */
  readonly unstored = new Set<string>();
  readonly #url: string;
  readonly #socket: WebSocket;

  constructor(url: string) {
    this.#url = url;
    this.#socket = new WebSocket(new URL('/api/live', url.replace('http', 'ws')));
    this.#socket.on('error', () => {});
    this.#socket.on('message', (data) => this.#take(JSON.parse(String(data)) as LiveDocument));
  }

  close(): void {
    this.#socket.terminate();
  }

  #take(document: LiveDocument): void {
    if (document.kind !== 'shot' || document.shot.stage !== 'final') return;
    if (document.stored === false) {
      this.unstored.add(document.shotId);
      return;
    }
    if (this.shots.has(document.shotId)) return;
    this.shots.set(document.shotId, { text: JSON.stringify(document), atNs: process.hrtime.bigint() });
    void this.#tag(document.shotId, this.shots.size % 2 === 0 ? 'make' : 'miss');
  }

  async #tag(shotId: string, outcome: string): Promise<void> {
    try {
      const answer = await fetch(new URL('/api/shots/tag', this.#url), {
        method: 'POST',
        headers: { 'content-type': 'application/json' },
        body: JSON.stringify({ which: { shotIds: [shotId] }, outcome }),
      });
      if (answer.ok) this.tags.set(shotId, { text: outcome, atNs: process.hrtime.bigint() });
    } catch {
      // The service is killed: nothing was confirmed.
    }
  }
}
