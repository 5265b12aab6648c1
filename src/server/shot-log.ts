import type { NumberedDocument, ShotDocument } from './wire/live-document.ts';

/** A numbered document with its text, made once for all clients. */
export interface LogEntry {
  readonly seq: number;
  readonly document: NumberedDocument;
  readonly text: string;
  /** True once a later document says all that this one says, or takes it back. */
  superseded: boolean;
}

/**
 * Numbers are left out at every start, so that one lost with the machine's power, or given to a change after the last shot, is never
 * given a second time.
 */
const leftOutAtStart = 1_000_000;

/**
 * The last numbered documents, in order. Every client reads it at its own pace by the number it has reached, so that
 * a slow client costs a number and no memory.
 */
export class ShotLog {
  readonly #keepCount: number;
  readonly #entries: LogEntry[] = [];
  /** The entry that says the most of each shot, and of each topic of changes. */
  readonly #standing = new Map<string, LogEntry>();
  #supersededCount = 0;
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

  /** @returns the shot of this name in its latest form, or undefined. */
  shot(shotId: string): ShotDocument | undefined {
    const document = this.#standing.get(`shot ${shotId}`)?.document;
    return document?.kind === 'shot' ? document : undefined;
  }

  /** @returns the last `count` shots, oldest first, each in its latest form. */
  latestShots(count: number): (LogEntry & { readonly document: ShotDocument })[] {
    const shots = this.#entries.filter(isStandingShot);
    // One that was told again keeps its place among the others.
    shots.sort((one, other) =>
      one.document.at < other.document.at ? -1 : one.document.at > other.document.at ? 1 : 0,
    );
    return count > 0 ? shots.slice(-count) : [];
  }

  #insert(part: Omit<LogEntry, 'superseded'>): LogEntry {
    const entry: LogEntry = { ...part, superseded: false };
    const key = keyOf(entry.document);
    if (key !== null) {
      const before = this.#standing.get(key);
      if (before) {
        before.superseded = true;
        this.#supersededCount += 1;
      }
      if (entry.document.kind === 'rejected') this.#standing.delete(key);
      else this.#standing.set(key, entry);
    }
    this.#entries.push(entry);
    this.#lastSeq = entry.seq;
    if (this.#entries.length > this.#keepCount) this.#makeRoom();
    return entry;
  }

  /** Lets go what says nothing any more, which nobody misses; where there is no such, the oldest. */
  #makeRoom(): void {
    if (this.#supersededCount > 0) {
      const rest = this.#entries.filter(({ superseded }) => !superseded);
      this.#entries.splice(0, this.#entries.length, ...rest);
      this.#supersededCount = 0;
      return;
    }
    const dropped = this.#entries.shift() as LogEntry;
    this.#droppedSeq = dropped.seq;
    const key = keyOf(dropped.document);
    if (key !== null && this.#standing.get(key) === dropped) this.#standing.delete(key);
  }
}

function isStandingShot(entry: LogEntry): entry is LogEntry & { readonly document: ShotDocument } {
  return entry.document.kind === 'shot' && !entry.superseded;
}

/** @returns what a document is about, where a later one about the same takes its place. */
function keyOf(document: NumberedDocument): string | null {
  if (document.kind === 'change') return `change ${document.topic} ${document.sessionId ?? ''}`;
  return document.shotId === null ? null : `shot ${document.shotId}`;
}
