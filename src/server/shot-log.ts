import type { NumberedDocument } from './wire/live-document.ts';

/** A numbered document with its text, made once for all clients. */
export interface LogEntry {
  readonly seq: number;
  readonly document: NumberedDocument;
  readonly text: string;
  /** True once a later document says all that this one says, or takes it back. */
  superseded: boolean;
}

/** Numbers are left out at every start, so that one lost with the machine's power is never given a second time. */
const leftOutAtStart = 1000;

/**
 * The last numbered documents, in order. Every client reads it at its own pace by the number it has reached, so that
 * a slow client costs a number and no memory.
 */
export class ShotLog {
  readonly #keepCount: number;
  readonly #entries: LogEntry[] = [];
  readonly #openShots = new Map<string, LogEntry>();
  #nextSeq = 1;
  #lastSeq = 0;
  #droppedSeq = 0;

  /**
   * @param found what earlier runs told, oldest first.
   * @param keepCount documents held at most.
   */
  constructor(found: readonly NumberedDocument[] = [], keepCount = 1000) {
    this.#keepCount = keepCount;
    this.takeFound(found);
  }

  /** Takes what earlier runs told, oldest first; once, before anything is added. */
  takeFound(found: readonly NumberedDocument[]): void {
    for (const document of found) this.#insert({ seq: document.seq, document, text: JSON.stringify(document) });
    const first = this.#entries[0];
    if (first) this.#droppedSeq = Math.max(this.#droppedSeq, first.seq - 1);
    if (this.#lastSeq > 0) this.#nextSeq = this.#lastSeq + leftOutAtStart;
  }

  /** Number of the last document, 0 when there was none yet. */
  get lastSeq(): number {
    return this.#lastSeq;
  }

  /** Highest number that is not held any more. */
  get droppedSeq(): number {
    return this.#droppedSeq;
  }

  /** @returns the number of the next document; documents are added in the order of their numbers. */
  takeNumber(): number {
    return this.#nextSeq++;
  }

  /** Keeps a numbered document. */
  add(document: NumberedDocument): LogEntry {
    return this.#insert({ seq: document.seq, document, text: JSON.stringify(document) });
  }

  /** @returns the first document after number `seq` that still says something, or undefined. */
  nextAfter(seq: number): LogEntry | undefined {
    let low = 0;
    let high = this.#entries.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if ((this.#entries[middle] as LogEntry).seq <= seq) low = middle + 1;
      else high = middle;
    }
    while (this.#entries[low]?.superseded) low += 1;
    return this.#entries[low];
  }

  /** @returns the last `count` shots, oldest first, each in its latest form. */
  latestShots(count: number): LogEntry[] {
    const shots = this.#entries.filter((entry) => entry.document.kind === 'shot' && !entry.superseded);
    return count > 0 ? shots.slice(-count) : [];
  }

  #insert(part: Omit<LogEntry, 'superseded'>): LogEntry {
    const entry: LogEntry = { ...part, superseded: false };
    const { document } = entry;
    if (document.shotId !== null) {
      const open = this.#openShots.get(document.shotId);
      if (open) open.superseded = true;
      if (document.kind === 'shot' && document.shot.stage === 'early') this.#openShots.set(document.shotId, entry);
      else this.#openShots.delete(document.shotId);
    }
    this.#entries.push(entry);
    this.#lastSeq = entry.seq;
    if (this.#entries.length > this.#keepCount) {
      const dropped = this.#entries.shift() as LogEntry;
      this.#droppedSeq = dropped.seq;
      if (dropped.document.shotId !== null) this.#forget(dropped.document.shotId, dropped);
    }
    return entry;
  }

  #forget(shotId: string, dropped: LogEntry): void {
    if (this.#openShots.get(shotId) === dropped) this.#openShots.delete(shotId);
  }
}
