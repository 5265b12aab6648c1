import WebSocket from 'ws';
import type { LiveDocument } from '../../src/server/wire/live-document.ts';

/**
 * Many pages in one process of their own, as `client-load` starts it: each reads the live stream in its manner and notes what came.
 */

/**
 * `steady` reads everything at once. `stopped` reads nothing until the end. `slow` reads a little now and then. `returning` goes away
 * and comes back again and again, naming the highest number it has. `late` comes when half of the time is over.
 */
export const clientKinds = ['steady', 'stopped', 'slow', 'returning', 'late'] as const;
export type ClientKind = (typeof clientKinds)[number];

/** What one client got, over all its connections. */
export interface ClientReport {
  readonly kind: ClientKind;
  /** Numbered documents in the order in which they came, connection after connection: number, and the final shot's name or null. */
  readonly seqs: readonly number[];
  readonly finals: readonly string[];
  /** Numbers that came after a higher one on the same connection. */
  readonly overtaken: number;
  /** Early shots that came after their final one on the same connection. */
  readonly stale: number;
  /** Final shots that came more often than once. */
  readonly doubled: number;
  /** From the service's publishing to the client's reading, ms; of documents that came live, not those caught up with. */
  readonly delaysMs: readonly number[];
  readonly connections: number;
  /** Connections that the service ended. */
  readonly cut: number;
  /** What the greetings said, each once. */
  readonly catchUps: readonly string[];
}

export type ToClients =
  | { readonly kind: 'come'; readonly late: boolean }
  /** Everybody reads on; who has got as far as this number is done. */
  | { readonly kind: 'finish'; readonly lastSeq: number };

export type FromClients =
  | { readonly kind: 'there' }
  | { readonly kind: 'reports'; readonly reports: readonly ClientReport[] };

const slowEveryMs = 700;
const awayEveryMs = 1500;
const awayMs = 300;
/** What is older than this at a connection's beginning was caught up with. */
const settleMs = 500;
const finishMs = 120_000;

class LoadClient {
  readonly kind: ClientKind;
  readonly #url: string;
  readonly #seqs: number[] = [];
  readonly #finals: string[] = [];
  readonly #known = new Set<string>();
  readonly #delaysMs: number[] = [];
  readonly #catchUps = new Set<string>();
  #socket: WebSocket | null = null;
  #highest: number | null = null;
  #overtaken = 0;
  #stale = 0;
  #doubled = 0;
  #connections = 0;
  #cut = 0;
  #leaving = false;
  #finishing = false;
  #timer: NodeJS.Timeout | undefined;

  constructor(kind: ClientKind, url: string) {
    this.kind = kind;
    this.#url = url;
  }

  get highest(): number {
    return this.#highest ?? 0;
  }

  /** Resolves at the first document. */
  come(): Promise<void> {
    this.#leaving = false;
    this.#connections += 1;
    const since = this.#highest === null ? '' : `?since=${this.#highest}`;
    const socket = new WebSocket(`${this.#url}${since}`, { perMessageDeflate: false });
    this.#socket = socket;
    const openedMs = performance.now();
    let highestHere = 0;
    const finalHere = new Set<string>();
    return new Promise((resolve, reject) => {
      socket.on('error', reject);
      socket.on('close', () => {
        if (this.#leaving) return;
        this.#cut += 1;
        // As a page does it: it comes back and names what it has.
        this.#timer = setTimeout(() => void this.come().catch(() => {}), awayMs);
      });
      socket.on('message', (data) => {
        const readNs = process.hrtime.bigint();
        const document = JSON.parse(String(data)) as LiveDocument;
        resolve();
        if (document.kind === 'hello') this.#catchUps.add(document.catchUp);
        if (document.kind !== 'shot' && document.kind !== 'rejected') return;
        if (document.seq <= highestHere) this.#overtaken += 1;
        highestHere = Math.max(highestHere, document.seq);
        this.#highest = Math.max(this.#highest ?? 0, document.seq);
        this.#seqs.push(document.seq);
        if (document.kind === 'shot') {
          if (document.shot.stage === 'early') {
            if (finalHere.has(document.shotId)) this.#stale += 1;
          } else {
            finalHere.add(document.shotId);
            if (this.#known.has(document.shotId)) this.#doubled += 1;
            this.#known.add(document.shotId);
            this.#finals.push(document.shotId);
          }
        }
        if (performance.now() - openedMs > settleMs)
          this.#delaysMs.push(Number(readNs) / 1e6 - document.hostTimeS * 1000);
        if (this.kind === 'slow' && !this.#finishing) this.#rest(socket);
      });
      // One that was cut off while it stood still comes back in order to read on.
      const standsStill = this.kind === 'stopped' && !this.#finishing;
      if (standsStill) socket.once('open', () => socket.pause());
      if (standsStill) resolve();
      if (this.kind === 'returning') this.#timer = setTimeout(() => this.#goAway(), awayEveryMs);
    });
  }

  finish(): void {
    this.#finishing = true;
    clearTimeout(this.#timer);
    if (this.#socket?.readyState === WebSocket.OPEN) this.#socket.resume();
    if (this.#leaving || this.#socket?.readyState !== WebSocket.OPEN) void this.come().catch(() => {});
  }

  leave(): ClientReport {
    this.#leaving = true;
    clearTimeout(this.#timer);
    this.#socket?.terminate();
    return {
      kind: this.kind,
      seqs: this.#seqs,
      finals: this.#finals,
      overtaken: this.#overtaken,
      stale: this.#stale,
      doubled: this.#doubled,
      delaysMs: this.#delaysMs,
      connections: this.#connections,
      cut: this.#cut,
      catchUps: [...this.#catchUps],
    };
  }

  #rest(socket: WebSocket): void {
    socket.pause();
    this.#timer = setTimeout(() => {
      if (socket.readyState === WebSocket.OPEN) socket.resume();
    }, slowEveryMs);
  }

  #goAway(): void {
    this.#leaving = true;
    this.#socket?.terminate();
    this.#timer = setTimeout(() => void this.come().catch(() => {}), awayMs);
  }
}

const [url = '', counts = '{}'] = process.argv.slice(2);
const wanted = JSON.parse(counts) as Partial<Record<ClientKind, number>>;
const clients = clientKinds.flatMap((kind) =>
  Array.from({ length: wanted[kind] ?? 0 }, () => new LoadClient(kind, url)),
);
const tell = (message: FromClients): void => void process.send?.(message);

process.on('message', (message: ToClients) => {
  if (message.kind === 'come') void come(message.late);
  else void finish(message.lastSeq);
});

async function come(late: boolean): Promise<void> {
  const these = clients.filter(({ kind }) => (kind === 'late') === late);
  await Promise.all(these.map((client) => client.come()));
  tell({ kind: 'there' });
}

async function finish(lastSeq: number): Promise<void> {
  for (const client of clients) client.finish();
  const untilMs = performance.now() + finishMs;
  while (clients.some(({ highest }) => highest < lastSeq) && performance.now() < untilMs) {
    await new Promise((resolve) => setTimeout(resolve, 50));
  }
  // What came twice would come now.
  await new Promise((resolve) => setTimeout(resolve, 300));
  const reports = clients.map((client) => client.leave());
  process.send?.({ kind: 'reports', reports } satisfies FromClients, () => process.disconnect());
}
