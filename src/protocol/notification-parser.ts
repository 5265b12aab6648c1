/**
 * Push parser of one sensor's notifications: bytes in, frames in order out, and a word about everything that was not
 * as it should be. It never throws on data and goes on after anything.
 *
 * Nothing is believed on one packet alone: a packet whose counters fit nothing before it (the first of all, the first
 * after a restart or a long loss, or damage that slipped past the checksum) is kept until a second one follows it, and
 * dropped as `corrupt` when the stream goes on as before. A missing packet is waited for while up to `reorderPackets`
 * later ones come. So memory is bounded by a few packets. Latency: none while packets come in order.
 */
import { type CorruptCode, decodeNotification, type NotificationFrame } from './notification.ts';
import {
  advance,
  confirms,
  longLoss,
  type NearRelation,
  nearPackets,
  positionAfter,
  relate,
  type StreamPosition,
} from './stream-position.ts';

export interface NotificationParserOptions {
  /** How the sensor is called in texts. */
  readonly sensorName: string;
  /** How many later packets may come while a missing one is waited for; 0 waits for none. Default 2. */
  readonly reorderPackets?: number;
}

/** What the parser says. `message` is a sentence for a person. */
export type ProtocolEvent =
  | {
      readonly kind: 'frame';
      readonly frame: NotificationFrame;
      /** Index of its first row since the start of the sensor, unwrapped. */
      readonly index: number;
      /** As pushed with its bytes. */
      readonly hostTimeS: number | null;
      /** Rows are missing before it. */
      readonly afterGap: boolean;
      /** It is the first after the sensor's ticks or counters started anew. */
      readonly afterRestart: boolean;
    }
  | {
      readonly kind: 'gap';
      readonly missingPackets: number;
      readonly missingSamples: number;
      /** Sequence of the packet after the gap. */
      readonly sequence: number;
      readonly message: string;
    }
  | { readonly kind: 'duplicate'; readonly sequence: number; readonly message: string }
  | {
      readonly kind: 'reordered';
      readonly sequence: number;
      /** Whether the packet was put back in its place; else it came too late and was dropped. */
      readonly restored: boolean;
      readonly message: string;
    }
  | { readonly kind: 'corrupt'; readonly code: CorruptCode; readonly sequence: number | null; readonly message: string }
  | { readonly kind: 'restart'; readonly sequence: number; readonly message: string };

interface Waiting {
  readonly frame: NotificationFrame;
  readonly hostTimeS: number | null;
}

/** Everything the parser remembers, as JSON. */
export interface NotificationParserState {
  readonly position: StreamPosition | null;
  readonly ahead: readonly StoredPacket[];
  readonly unconfirmed: readonly StoredPacket[];
  readonly foreignInRow: number;
  readonly recent: readonly (readonly [sequence: number, tick: number])[];
}

export interface StoredPacket {
  readonly frame: Omit<NotificationFrame, 'samples'> & { readonly samples: readonly number[] };
  readonly hostTimeS: number | null;
}

const maxUnconfirmed = 4;
const maxForeignInRow = 16;

export class NotificationParser {
  readonly #sensorName: string;
  readonly #reorderPackets: number;
  #position: StreamPosition | null = null;
  /** Packets ahead of a missing one, in order. */
  #ahead: Waiting[] = [];
  /** Packets that fit nothing so far, oldest first. */
  #unconfirmed: Waiting[] = [];
  /** Packets in a row that fitted nothing. */
  #foreignInRow = 0;
  /** Last accepted packets, to tell a duplicate from a late packet. */
  #recent: (readonly [number, number])[] = [];
  #events: ProtocolEvent[] = [];

  constructor(options: NotificationParserOptions, state?: NotificationParserState) {
    this.#sensorName = options.sensorName;
    this.#reorderPackets = options.reorderPackets ?? 2;
    if (state) {
      this.#position = state.position && { ...state.position };
      this.#ahead = state.ahead.map(restore);
      this.#unconfirmed = state.unconfirmed.map(restore);
      this.#foreignInRow = state.foreignInRow;
      this.#recent = [...state.recent];
    }
  }

  /** @returns all that is needed to go on elsewhere: `new NotificationParser(options, state)`. */
  state(): NotificationParserState {
    return {
      position: this.#position && { ...this.#position },
      ahead: this.#ahead.map(store),
      unconfirmed: this.#unconfirmed.map(store),
      foreignInRow: this.#foreignInRow,
      recent: [...this.#recent],
    };
  }

  /**
   * Takes the bytes of one notification.
   *
   * @param hostTimeS time of receipt, handed on with the frame; null when unknown.
   */
  push(bytes: Uint8Array, hostTimeS: number | null): ProtocolEvent[] {
    this.#events = [];
    const decoded = decodeNotification(bytes);
    if (decoded.kind === 'corrupt') this.#corrupt(decoded.code, decoded.sequence, decoded.problem);
    else this.#take({ frame: decoded.frame, hostTimeS });
    return this.#events;
  }

  /** Says that nothing more comes; what was waiting is given out or reported. */
  finish(): ProtocolEvent[] {
    this.#events = [];
    while (this.#ahead.length > 0) this.#skipToAhead();
    if (this.#position === null && this.#unconfirmed.length === 1) {
      const only = this.#unconfirmed.pop()!;
      this.#begin(only, only.frame.sampleIndex, false, false);
    }
    this.#dropUnconfirmed();
    return this.#events;
  }

  #take(packet: Waiting): void {
    const { frame } = packet;
    const relation = this.#position === null ? { kind: 'foreign' as const } : relate(this.#position, frame);
    if (relation.kind === 'foreign') {
      this.#takeForeign(packet);
    } else if (relation.kind === 'behind') {
      const known = this.#recent.find(([sequence]) => sequence === frame.sequence);
      if (known === undefined) this.#reordered(frame.sequence, false);
      else if (known[1] === frame.tick) this.#duplicate(frame.sequence);
      // An old number with a new stamp is a sensor that began to count anew soon after its last start.
      else this.#takeForeign(packet);
    } else {
      this.#dropUnconfirmed();
      if (relation.packets === 0 && !relation.doubtful) {
        this.#dropDoubtfulNext(frame);
        if (this.#ahead.length > 0) this.#reordered(frame.sequence, true);
        this.#accept(packet, 0, false);
        this.#drainAhead();
      } else {
        this.#wait(packet, relation);
      }
    }
  }

  /** The next packet came with a good stamp: one in its place that was doubted was damaged. */
  #dropDoubtfulNext(frame: NotificationFrame): void {
    const [doubtful] = this.#ahead;
    if (doubtful?.frame.sequence !== frame.sequence) return;
    this.#ahead.shift();
    this.#implausible(doubtful);
  }

  /** Keeps a packet that is ahead of a missing one, or the next one as long as a better one may come. */
  #wait(packet: Waiting, { packets, stampErrorTicks }: NearRelation): void {
    const { frame } = packet;
    const twin = this.#ahead.find((held) => held.frame.sequence === frame.sequence);
    if (twin?.frame.tick === frame.tick) {
      this.#duplicate(frame.sequence);
      return;
    }
    if (twin !== undefined) {
      // One of the two is damaged: the one whose stamp fits the stream less well.
      const relation = relate(this.#position!, twin.frame);
      const worse = relation.kind === 'foreign' || relation.stampErrorTicks > stampErrorTicks ? twin : packet;
      this.#implausible(worse);
      if (worse === packet) return;
      this.#ahead = this.#ahead.filter((held) => held !== twin);
    }
    this.#ahead.push(packet);
    this.#ahead.sort((a, b) => this.#packetsAhead(a) - this.#packetsAhead(b));
    // With a later packet come, no better one is to be expected in the place of the next.
    if (packets > 0) this.#drainAhead();
    if (this.#ahead.length > this.#reorderPackets) this.#skipToAhead();
  }

  #takeForeign(packet: Waiting): void {
    this.#foreignInRow += 1;
    for (const candidate of this.#unconfirmed) {
      if (candidate.frame.sequence === packet.frame.sequence && candidate.frame.tick === packet.frame.tick) {
        this.#duplicate(packet.frame.sequence);
        return;
      }
      // Where nothing has fitted for long, what is known of the rate may be wrong.
      const known = this.#foreignInRow <= maxForeignInRow ? (this.#position?.ticksPerSample ?? null) : null;
      if (!confirms(candidate.frame, packet.frame, known)) continue;
      this.#unconfirmed = this.#unconfirmed.filter((other) => other !== candidate);
      this.#dropUnconfirmed();
      this.#confirm(candidate);
      this.#take(packet);
      return;
    }
    this.#unconfirmed.push(packet);
    if (this.#unconfirmed.length > maxUnconfirmed) this.#implausible(this.#unconfirmed.shift()!);
  }

  /** The stream goes on at a packet far from where it stood. */
  #confirm(packet: Waiting): void {
    const { frame } = packet;
    while (this.#ahead.length > 0) this.#skipToAhead();
    const position = this.#position;
    if (position === null) {
      this.#begin(packet, frame.sampleIndex, false, false);
      return;
    }
    const loss = longLoss(position, frame);
    if (loss !== null) {
      this.#gap(frame.sequence, loss.packets, loss.samples);
      this.#begin(packet, position.nextIndex + loss.samples, true, false);
      return;
    }
    this.#events.push({
      kind: 'restart',
      sequence: frame.sequence,
      message: `${this.#name(frame.sequence)}: the sensor started anew`,
    });
    this.#begin(packet, frame.sampleIndex, false, true);
  }

  #begin(packet: Waiting, index: number, afterGap: boolean, afterRestart: boolean): void {
    this.#position = positionAfter(packet.frame, index);
    if (!afterGap) this.#recent = [];
    this.#emit(packet, index, afterGap, afterRestart);
  }

  #accept(packet: Waiting, samples: number, afterGap: boolean): void {
    const position = this.#position!;
    const index = position.nextIndex + samples;
    advance(position, packet.frame, samples);
    this.#emit(packet, index, afterGap, false);
  }

  #emit({ frame, hostTimeS }: Waiting, index: number, afterGap: boolean, afterRestart: boolean): void {
    this.#foreignInRow = 0;
    this.#recent.push([frame.sequence, frame.tick]);
    if (this.#recent.length > nearPackets) this.#recent.shift();
    this.#events.push({ kind: 'frame', frame, index, hostTimeS, afterGap, afterRestart });
  }

  /** Gives up waiting: the first packet ahead becomes the next one. */
  #skipToAhead(): void {
    const packet = this.#ahead.shift()!;
    const relation = relate(this.#position!, packet.frame);
    if (relation.kind !== 'ahead') {
      this.#implausible(packet);
      return;
    }
    if (relation.packets > 0) this.#gap(packet.frame.sequence, relation.packets, relation.samples);
    this.#accept(packet, relation.samples, relation.packets > 0);
    this.#drainAhead();
  }

  #drainAhead(): void {
    while (this.#ahead.length > 0) {
      const relation = relate(this.#position!, this.#ahead[0]!.frame);
      if (relation.kind === 'ahead' && relation.packets > 0) return;
      // Until a later packet has come, a better one may still come in the place of a doubtful one.
      if (relation.kind === 'ahead' && relation.doubtful && this.#ahead.length === 1) return;
      const packet = this.#ahead.shift()!;
      if (relation.kind === 'ahead') this.#accept(packet, 0, false);
      else this.#implausible(packet);
    }
  }

  #packetsAhead({ frame }: Waiting): number {
    return (frame.sequence - this.#position!.lastSequence - 1) & 0xffff;
  }

  #dropUnconfirmed(): void {
    for (const packet of this.#unconfirmed) this.#implausible(packet);
    this.#unconfirmed = [];
  }

  #implausible({ frame }: Waiting): void {
    this.#corrupt(
      'implausible',
      frame.sequence,
      `its counters (sample ${frame.sampleIndex}, tick ${frame.tick}) fit neither what came before nor what came after`,
    );
  }

  #corrupt(code: CorruptCode, sequence: number | null, problem: string): void {
    this.#events.push({ kind: 'corrupt', code, sequence, message: `${this.#name(sequence)}: ${problem}` });
  }

  #duplicate(sequence: number): void {
    this.#events.push({ kind: 'duplicate', sequence, message: `${this.#name(sequence)} came twice` });
  }

  #reordered(sequence: number, restored: boolean): void {
    const what = restored ? 'came late and was put back in its place' : 'came too late and was dropped';
    this.#events.push({ kind: 'reordered', sequence, restored, message: `${this.#name(sequence)} ${what}` });
  }

  #gap(sequence: number, missingPackets: number, missingSamples: number): void {
    const packets = `${missingPackets} packet${missingPackets === 1 ? '' : 's'}`;
    const samples = `${missingSamples} sample${missingSamples === 1 ? '' : 's'}`;
    const message =
      missingSamples === 0
        ? `${this.#name(sequence)}: the sensor did not sample for a while before it`
        : `${packets} (${samples}) of sensor ${this.#sensorName} lost before packet ${sequence}`;
    this.#events.push({ kind: 'gap', missingPackets, missingSamples, sequence, message });
  }

  #name(sequence: number | null): string {
    return sequence === null
      ? `a packet of sensor ${this.#sensorName}`
      : `packet ${sequence} of sensor ${this.#sensorName}`;
  }
}

function store({ frame, hostTimeS }: Waiting): StoredPacket {
  return { frame: { ...frame, samples: Array.from(frame.samples) }, hostTimeS };
}

function restore({ frame, hostTimeS }: StoredPacket): Waiting {
  return { frame: { ...frame, samples: Int16Array.from(frame.samples) }, hostTimeS };
}
