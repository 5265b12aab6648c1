import type { SensorSetup } from '../../live/sensor-setup.ts';
import type { SensorStateChange, StreamBlock } from '../../live/sensor-streams.ts';
import { decodeSensorDescription, type SensorDescription } from '../../protocol/sensor-description.ts';
import type { HostLine } from '../../shots/merge/host-line.ts';
import type { LiveStreamsDocument, WireLiveStream } from '../wire/live-signal-document.ts';
import { encodeLiveSamples } from './encode-live-samples.ts';

/** What is needed of a WebSocket. */
export interface SignalSocket {
  /** Bytes handed over and not yet taken by the network. */
  readonly bufferedAmount: number;
  send(data: string | Uint8Array): void;
  terminate(): void;
}

/** Where samples come from. */
export interface SignalFeed {
  follow(take: (block: StreamBlock) => void): () => void;
  clockOf(sensorId: string): HostLine | null;
  rateOf(sensorId: string): number | null;
}

interface OpenStream {
  readonly number: number;
  readonly sensorId: string;
  readonly streamIndex: number;
  readonly description: SensorDescription;
}

/** Often enough to look as if it came by itself, seldom enough that a message holds some packets. */
const sendMs = 40;
const tellMs = 1000;
/** About three seconds of eight sensors at 416 Hz: whoever is further behind gets what comes then, and a hole before it. */
const mostWaitingBytes = 256 * 1024;
/** A page that took nothing over so many seconds is cut off; it may come back. */
const checksUntilCut = 20;

/** Sends the samples of all sensors to those who watch them; while nobody does, no thread gives any out. */
export class LiveSignals {
  readonly #nowS: () => number;
  readonly #watchers = new Map<SignalSocket, { blockedChecks: number }>();
  readonly #described = new Map<string, SensorDescription>();
  readonly #calibrated = new Set<string>();
  /** The present stream of each sensor that has sent something since somebody watches. */
  readonly #open = new Map<string, OpenStream>();
  readonly #unsent = new Map<number, StreamBlock['block'][]>();
  #feed: SignalFeed | null = null;
  #unfollow: (() => void) | null = null;
  #timers: NodeJS.Timeout[] = [];
  #streamCount = 0;
  #messageCount = 0;

  constructor(nowS: () => number) {
    this.#nowS = nowS;
  }

  /** Says where samples come from; whoever watches already gets them from now on. */
  attach(feed: SignalFeed): void {
    this.#stop();
    this.#feed = feed;
    if (this.#watchers.size > 0) this.#start();
  }

  /** Learns what a sensor is whose stream opens. */
  takeState({ sensorId, state, description }: SensorStateChange): void {
    if (state === 'ended' && this.#open.delete(sensorId)) this.#tell();
    if (state !== 'streaming' || description === null) return;
    try {
      this.#described.set(sensorId, decodeSensorDescription(description));
    } catch {
      // Its chain cannot be opened either, which is told as a fault of the sensor.
      this.#described.delete(sensorId);
    }
  }

  /** Learns with what setup the analysis goes on from the stream that opens now. */
  takeSetup(sensorId: string, { correction }: SensorSetup): void {
    if (correction === null) this.#calibrated.delete(sensorId);
    else this.#calibrated.add(sensorId);
  }

  /** @returns ends it. */
  watch(socket: SignalSocket): () => void {
    this.#watchers.set(socket, { blockedChecks: 0 });
    if (this.#watchers.size === 1) this.#start();
    socket.send(this.#streams());
    return () => {
      this.#watchers.delete(socket);
      if (this.#watchers.size === 0) this.#stop();
    };
  }

  #start(): void {
    if (this.#feed === null || this.#unfollow !== null) return;
    this.#unfollow = this.#feed.follow((block) => this.#take(block));
    this.#timers = [
      setInterval(() => this.#send(), sendMs),
      setInterval(() => {
        this.#tell();
        this.#check();
      }, tellMs),
    ];
    for (const timer of this.#timers) timer.unref();
  }

  #stop(): void {
    this.#unfollow?.();
    this.#unfollow = null;
    for (const timer of this.#timers) clearInterval(timer);
    this.#open.clear();
    this.#unsent.clear();
  }

  #take({ sensorId, streamIndex, block }: StreamBlock): void {
    let open = this.#open.get(sensorId);
    if (open === undefined || open.streamIndex < streamIndex) {
      const description = this.#described.get(sensorId);
      if (!description) return;
      open = { number: this.#streamCount++, sensorId, streamIndex, description };
      this.#open.set(sensorId, open);
      this.#tell();
    }
    // What is left of a stream from before belongs to no picture of now.
    if (open.streamIndex !== streamIndex) return;
    const waiting = this.#unsent.get(open.number);
    if (waiting) waiting.push(block);
    else this.#unsent.set(open.number, [block]);
  }

  #send(): void {
    if (this.#unsent.size === 0) return;
    const parts = [...this.#unsent].map(([stream, blocks]) => ({ stream, blocks }));
    this.#unsent.clear();
    const bytes = encodeLiveSamples(this.#messageCount++ % 2 ** 32, this.#nowS(), parts);
    for (const socket of this.#watchers.keys()) if (hasRoom(socket)) socket.send(bytes);
  }

  #tell(): void {
    const text = this.#streams();
    for (const socket of this.#watchers.keys()) if (hasRoom(socket)) socket.send(text);
  }

  #check(): void {
    for (const [socket, watcher] of this.#watchers) {
      watcher.blockedChecks = hasRoom(socket) ? 0 : watcher.blockedChecks + 1;
      if (watcher.blockedChecks >= checksUntilCut) socket.terminate();
    }
  }

  #streams(): string {
    const document: LiveStreamsDocument = {
      v: 1,
      kind: 'streams',
      nowS: this.#nowS(),
      streams: [...this.#open.values()].map((open) => this.#stream(open)),
    };
    return JSON.stringify(document);
  }

  #stream({ number, sensorId, streamIndex, description }: OpenStream): WireLiveStream {
    const { placement, accelRateHz, gyroRateHz, accelRangeMps2, gyroRangeRadps } = description;
    const line = this.#feed?.clockOf(sensorId) ?? null;
    return {
      ...{ stream: number, sensorId, streamIndex, placement, accelRangeMps2, gyroRangeRadps },
      isCalibrated: this.#calibrated.has(sensorId),
      rateHz: this.#feed?.rateOf(sensorId) ?? accelRateHz,
      hasGyro: gyroRateHz !== null,
      clock: line === null ? null : epochLine(line),
    };
  }
}

function hasRoom({ bufferedAmount }: SignalSocket): boolean {
  return bufferedAmount < mostWaitingBytes;
}

function epochLine({ referenceS, hostTimeS, hostTimeStandardErrorS, driftPpm }: HostLine) {
  const slope = 1 + driftPpm * 1e-6;
  return { zeroS: hostTimeS - slope * referenceS, slope, standardErrorS: hostTimeStandardErrorS };
}
