import type { ImuBlock } from '../foundation/imu-block.ts';
import type { Preparation, ShotEvent } from '../shots/shot.ts';
import type { ChainEvent, ChainSummary } from './notification-chain.ts';
import { noSetup, type SensorSetup } from './sensor-setup.ts';

/** What the path needs of a chain. */
export interface PacketChain {
  push(bytes: Uint8Array, hostTimeS: number): readonly ChainEvent[];
  finish(): readonly ChainEvent[];
  summary(): ChainSummary;
  preparation?(): Preparation | null;
}

/** What the path needs to know of a sensor's state. */
export interface SensorStateChange {
  readonly sensorId: string;
  readonly state: 'searching' | 'found' | 'connecting' | 'streaming' | 'quiet' | 'lost' | 'unavailable' | 'ended';
  readonly hostTimeS: number;
  /** Bytes of the sensor description with a `streaming` that begins a stream; null with one that goes on with it. */
  readonly description: Uint8Array | null;
  readonly detail: string | null;
  /** With a description: what is known of the sensor beside it; nothing where it is left out. */
  readonly setup?: SensorSetup;
}

export interface PathEventHead {
  readonly sensorId: string;
  /** Counts the streams of a sensor: shot indices and recording time start anew with each. */
  readonly streamIndex: number;
  /** Receipt of the notification, or time of the change, that brought the event. */
  readonly hostTimeS: number;
}

/** What comes out of the path: measured shots, what was rejected, and what happened to sensor and stream. */
export type PathEvent = PathEventHead &
  (
    | { readonly kind: 'analysis'; readonly event: ShotEvent }
    | { readonly kind: 'stream'; readonly event: Exclude<ChainEvent, ShotEvent | { readonly kind: 'block' }> }
    | { readonly kind: 'state'; readonly state: SensorStateChange['state']; readonly detail: string | null }
    | { readonly kind: 'fault'; readonly message: string }
  );

/** Samples as the analysis has them: calibrated, in the recording time in which its shots are told. */
export interface StreamBlock extends PathEventHead {
  readonly block: ImuBlock;
}

/** The streams of one sensor, one after another: opens their chains, feeds them and survives their faults. */
export class SensorStreams {
  readonly #sensorId: string;
  readonly #openChain: (sensorId: string, description: Uint8Array, setup: SensorSetup) => PacketChain;
  readonly #onBlock: ((block: StreamBlock) => void) | null;
  #chain: PacketChain | null = null;
  /** Of the stream that ended last. */
  #lastSummary: ChainSummary | null = null;
  #description: Uint8Array | null = null;
  #setup = noSetup;
  #streamIndex = -1;
  #hostTimeS = 0;

  constructor(
    sensorId: string,
    openChain: (sensorId: string, description: Uint8Array, setup: SensorSetup) => PacketChain,
    onBlock: ((block: StreamBlock) => void) | null = null,
  ) {
    this.#onBlock = onBlock;
    this.#sensorId = sensorId;
    this.#openChain = openChain;
  }

  /** Takes the next notification. Those that come before a description cannot be read and give nothing. */
  takePacket(bytes: Uint8Array, hostTimeS: number): PathEvent[] {
    this.#hostTimeS = hostTimeS;
    const chain = this.#chain;
    if (chain === null) return [];
    try {
      return this.#wrap(chain.push(bytes, hostTimeS));
    } catch (error) {
      // What the chain held is lost; the next packets need not be.
      this.#chain = null;
      return [this.#fault(error), ...this.#open()];
    }
  }

  /** Takes a change of the sensor's state. */
  takeChange(change: SensorStateChange): PathEvent[] {
    const events: PathEvent[] = [];
    const starts = change.state === 'streaming' && change.description !== null;
    if (starts || change.state === 'ended') events.push(...this.#finish());
    this.#hostTimeS = change.hostTimeS;
    if (starts) {
      this.#description = change.description;
      this.#setup = change.setup ?? noSetup;
      events.push(...this.#open());
    }
    events.push({ ...this.#head(), kind: 'state', state: change.state, detail: change.detail });
    return events;
  }

  /** Says that nothing more comes. */
  end(): PathEvent[] {
    return this.#finish();
  }

  /** @returns work that packets to come will ask for, or null. */
  preparation(): Preparation | null {
    return this.#chain?.preparation?.() ?? null;
  }

  summary(): ChainSummary | null {
    return this.#chain?.summary() ?? this.#lastSummary;
  }

  #open(): PathEvent[] {
    if (this.#description === null) return [];
    this.#streamIndex += 1;
    try {
      this.#chain = this.#openChain(this.#sensorId, this.#description, this.#setup);
      return [];
    } catch (error) {
      return [this.#fault(error)];
    }
  }

  #finish(): PathEvent[] {
    const chain = this.#chain;
    this.#chain = null;
    if (chain === null) return [];
    try {
      const events = this.#wrap(chain.finish());
      this.#lastSummary = chain.summary();
      return events;
    } catch (error) {
      return [this.#fault(error)];
    }
  }

  #wrap(events: readonly ChainEvent[]): PathEvent[] {
    const wrapped: PathEvent[] = [];
    for (const event of events) {
      if (event.kind === 'block') {
        this.#onBlock?.({ ...this.#head(), block: event.block });
        continue;
      }
      const head = this.#head();
      if (event.kind === 'shot' || event.kind === 'rejected') wrapped.push({ ...head, kind: 'analysis', event });
      else wrapped.push({ ...head, kind: 'stream', event });
    }
    return wrapped;
  }

  #fault(error: unknown): PathEvent {
    return { ...this.#head(), kind: 'fault', message: error instanceof Error ? error.message : String(error) };
  }

  #head(): PathEventHead {
    return { sensorId: this.#sensorId, streamIndex: Math.max(this.#streamIndex, 0), hostTimeS: this.#hostTimeS };
  }
}
