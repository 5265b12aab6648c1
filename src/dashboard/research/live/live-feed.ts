import type { LiveStreamsDocument, WireLiveStream } from '../../../server/wire/live-signal-document.ts';
import { decodeLiveSamples } from './decode-live-samples.ts';
import { SampleRing, type StreamClock } from './sample-ring.ts';

/** A stream whose samples are held. */
export interface HeldStream {
  about: WireLiveStream;
  /** Null until the service knows when the stream's samples were; till then they cannot be drawn. */
  clock: StreamClock | null;
  /** Rises when the clock has become another one by more than can be overlooked: what was drawn with the old one lies wrong. */
  clockTurn: number;
  readonly ring: SampleRing;
}

/** What is needed of a browser's WebSocket. */
export interface SampleSocket {
  binaryType: string;
  onopen: (() => void) | null;
  onmessage: ((event: { readonly data: unknown }) => void) | null;
  onclose: (() => void) | null;
  close(): void;
}

export interface LiveFeedOptions {
  readonly open: () => SampleSocket;
  /** Seconds on a clock of the page that never jumps. */
  readonly nowS: () => number;
  /** Told that there are other streams than before. */
  readonly onStreams: (streams: readonly HeldStream[]) => void;
  /** Told whether samples can come, and how many messages the connection was too slow for. */
  readonly onState: (state: { readonly isOpen: boolean; readonly leftOut: number }) => void;
  readonly setTimer: (callback: () => void, delayMs: number) => number;
  readonly clearTimer: (timer: number) => void;
}

/** So much of each stream is held, s: a little more than the longest view. */
export const heldS = 35;
/** A clock that moves a sample by less draws the same picture. */
const overlookedS = 0.002;
const retryMs = 1500;
/** A service with a page that watches says something every second. */
const silenceMs = 8000;
/** The offset of the service's clock is the greatest seen, less this much a second: clocks drift, and delays only ever add. */
const leakShare = 0.001;

/** Samples of all sensors as they come, with what holds them in order: where they were left out, and when they were. */
export class LiveFeed {
  readonly #options: LiveFeedOptions;
  /** By the number that the service calls them by, in this connection. */
  readonly #streams = new Map<number, HeldStream>();
  /** Streams from before the connection was lost; they get nothing more. */
  #former: HeldStream[] = [];
  #all: readonly HeldStream[] = [];
  #socket: SampleSocket | null = null;
  #timer: number | null = null;
  #number: number | null = null;
  #leftOut = 0;
  #offsetS: number | null = null;
  #offsetAtS = 0;
  #isOver = false;

  constructor(options: LiveFeedOptions) {
    this.#options = options;
  }

  /** All that holds samples, the newest stream of a sensor last. */
  get streams(): readonly HeldStream[] {
    return this.#all;
  }

  /** Time on the service's clock now, or null before it is known. */
  get serviceNowS(): number | null {
    return this.#offsetS === null ? null : this.#options.nowS() + this.#offsetS;
  }

  start(): void {
    const socket = this.#options.open();
    socket.binaryType = 'arraybuffer';
    this.#socket = socket;
    const isCurrent = (): boolean => this.#socket === socket;
    socket.onmessage = ({ data }) => {
      if (!isCurrent()) return;
      this.#listen();
      if (data instanceof ArrayBuffer) this.#takeSamples(data);
      else this.#takeStreams(String(data));
    };
    socket.onclose = () => {
      if (isCurrent()) this.#lost();
    };
    this.#listen();
  }

  stop(): void {
    this.#isOver = true;
    if (this.#timer !== null) this.#options.clearTimer(this.#timer);
    this.#socket?.close();
  }

  #listen(): void {
    const { setTimer, clearTimer } = this.#options;
    if (this.#timer !== null) clearTimer(this.#timer);
    this.#timer = setTimer(() => {
      const socket = this.#socket;
      this.#lost();
      socket?.close();
    }, silenceMs);
  }

  #lost(): void {
    this.#socket = null;
    if (this.#isOver) return;
    // Numbers of streams and messages may be others in the next connection.
    this.#former = this.#all.filter((stream) => this.#isFresh(stream));
    this.#streams.clear();
    this.#all = this.#former;
    this.#number = null;
    this.#tellState(false);
    if (this.#timer !== null) this.#options.clearTimer(this.#timer);
    this.#timer = this.#options.setTimer(() => this.start(), retryMs);
  }

  #takeStreams(text: string): void {
    const document = JSON.parse(text) as LiveStreamsDocument;
    if (document.v !== 1 || document.kind !== 'streams') return;
    this.#takeClock(document.nowS);
    let isOther = false;
    for (const about of document.streams) {
      const known = this.#streams.get(about.stream);
      if (known) {
        isOther ||= (known.clock === null) !== (about.clock === null);
        takeStreamClock(known, about);
        continue;
      }
      isOther = true;
      const ring = new SampleRing(Math.ceil(heldS * about.rateHz * 1.05), about.hasGyro);
      this.#streams.set(about.stream, { about, clock: about.clock, clockTurn: 0, ring });
    }
    const present = new Set(document.streams.map(({ stream }) => stream));
    for (const [number, stream] of this.#streams) {
      if (present.has(number)) continue;
      isOther = true;
      this.#streams.delete(number);
      this.#former.push(stream);
    }
    const fresh = this.#former.filter((stream) => this.#isFresh(stream));
    isOther ||= fresh.length !== this.#former.length;
    this.#former = fresh;
    this.#tellState(true);
    if (!isOther) return;
    this.#all = [...this.#former, ...this.#streams.values()];
    this.#options.onStreams(this.#all);
  }

  #takeSamples(bytes: ArrayBuffer): void {
    const { number, sentS, parts } = decodeLiveSamples(bytes);
    this.#takeClock(sentS);
    const missed = this.#number === null ? 0 : (number - this.#number - 1 + 2 ** 32) % 2 ** 32;
    this.#number = number;
    if (missed > 0) {
      this.#leftOut += missed;
      for (const { ring } of this.#streams.values()) ring.markGap();
      this.#tellState(true);
    }
    for (const part of parts) this.#streams.get(part.stream)?.ring.push(part);
  }

  #takeClock(serviceS: number): void {
    const nowS = this.#options.nowS();
    const offsetS = serviceS - nowS;
    const before = this.#offsetS;
    const leaked = before === null ? offsetS : before - leakShare * (nowS - this.#offsetAtS);
    // A clock that was set anew is far from where it was.
    this.#offsetS = before === null || Math.abs(offsetS - before) > 1 ? offsetS : Math.max(leaked, offsetS);
    this.#offsetAtS = nowS;
  }

  /** @returns whether anything of it can still be seen. */
  #isFresh({ clock, ring }: HeldStream): boolean {
    const nowS = this.serviceNowS;
    return clock !== null && ring.end > 0 && nowS !== null && nowS - (clock.zeroS + clock.slope * ring.lastS) < heldS;
  }

  #tellState(isOpen: boolean): void {
    this.#options.onState({ isOpen, leftOut: this.#leftOut });
  }
}

function takeStreamClock(held: HeldStream, about: WireLiveStream): void {
  held.about = about;
  const { clock } = about;
  if (clock === null) return;
  const { lastS } = held.ring;
  const at = ({ zeroS, slope }: StreamClock): number => zeroS + slope * (Number.isNaN(lastS) ? 0 : lastS);
  if (held.clock !== null && Math.abs(at(clock) - at(held.clock)) < overlookedS) return;
  held.clock = clock;
  held.clockTurn += 1;
}
