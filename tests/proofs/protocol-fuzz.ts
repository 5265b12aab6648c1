import { setFlagsFromString } from 'node:v8';
import { runInNewContext } from 'node:vm';
import { SensorChain } from '../../src/live/notification-chain.ts';
import { encodeNotification, type NotificationFrame } from '../../src/protocol/notification.ts';
import { NotificationParser } from '../../src/protocol/notification-parser.ts';
import { ballDescription } from '../protocol/made-frames.ts';
import { uniformFrom } from '../signal/simulated-sensor-clock.ts';
import { goal, type Prove } from './proof.ts';

export type FuzzForm = 'full' | 'short';

export interface FuzzFigures {
  readonly damaged: number;
  readonly good: number;
  readonly thrown: number;
  /** Good packets that did not come out exactly once, in order and unchanged. */
  readonly goodLost: number;
  /** Packets whose damage the checksum missed and whose counters fit: the samples came out wrong. */
  readonly takenForGood: number;
  readonly longestStateCharacters: number;
  readonly worstTimeErrorS: number;
  readonly heapGrowthBytes: number;
}

const ticksPerRow = 1_201.3;
/** A stamp that is off by less than a tenth of a row cannot be told from noise; damage that a checksum missed may be. */
export const timeBoundS = (0.1 * ticksPerRow) / 1e6;

/** Packets of a stream whose samples are drawn from its number, so that any of them can be made again. */
class FuzzStream {
  readonly rows: number;
  readonly #form: FuzzForm;
  readonly #seed: number;

  constructor(form: FuzzForm, seed: number) {
    this.#form = form;
    this.#seed = seed;
    this.rows = form === 'full' ? 19 : 1;
  }

  packet(at: number): Uint8Array {
    const uniform = uniformFrom(this.#seed + at);
    const sequence = at % 65_536;
    const frame: NotificationFrame = {
      form: this.#form,
      startNumber: this.#form === 'full' ? 9 : null,
      sequence,
      tick: Math.round(at * this.rows * ticksPerRow) % 2 ** 32,
      sampleIndex: this.#form === 'full' ? (at * this.rows) % 2 ** 32 : sequence,
      axes: 6,
      samples: Int16Array.from({ length: 6 * this.rows }, () => Math.floor(65_536 * uniform()) - 32_768),
    };
    return encodeNotification(frame);
  }
}

/** @returns bytes that are no good packet: cut, with flipped bits, two joined, or nonsense with or without a good start. */
function damage(good: Uint8Array, other: Uint8Array, uniform: () => number): Uint8Array {
  const upTo = (end: number) => Math.floor(end * uniform());
  const nonsense = () => Uint8Array.from({ length: upTo(260) }, () => upTo(256));
  switch (upTo(5)) {
    case 0:
      return good.slice(0, upTo(good.length));
    case 1:
    case 2: {
      const bytes = good.slice();
      const flips = new Set(Array.from({ length: 1 + upTo(16) }, () => upTo(8 * bytes.length)));
      for (const bit of flips) bytes[bit >> 3]! ^= 1 << (bit & 7);
      return bytes;
    }
    case 3: {
      const cut = 1 + upTo(good.length - 1);
      const bytes = good.slice();
      bytes.set(other.subarray(cut), cut);
      // Joined at a place where both are alike it would be a good packet again.
      return same(bytes, good) || same(bytes, other) ? nonsense() : bytes;
    }
    default: {
      const bytes = nonsense();
      if (uniform() < 0.5) bytes.set(good.subarray(0, Math.min(bytes.length, 1 + upTo(16))));
      return same(bytes, good) ? new Uint8Array(0) : bytes;
    }
  }
}

function same(a: Uint8Array, b: Uint8Array): boolean {
  return a.length === b.length && a.every((byte, at) => byte === b[at]);
}

/**
 * Feeds good packets with damaged ones between them, and good ones replaced by damaged ones, to parser and chain.
 *
 * @param damagedCount how many damaged notifications to feed.
 */
export function fuzzProtocol(form: FuzzForm, damagedCount: number, seed: number): FuzzFigures {
  const stream = new FuzzStream(form, seed);
  const uniform = uniformFrom(seed ^ 0x5eed);
  const parser = new NotificationParser({ sensorName: 'fuzzed' });
  const chain = new SensorChain({ sensorName: 'fuzzed', description: ballDescription, ballSettings: null });
  const heapBefore = heapBytes();
  const counts = { damaged: 0, good: 0, thrown: 0, goodLost: 0, takenForGood: 0, longestStateCharacters: 0 };
  let worstTimeErrorS = 0;
  /** Good packets fed and not yet seen again, by number. */
  const awaited: number[] = [];

  const look = (events: ReturnType<NotificationParser['push']>): void => {
    for (const event of events) {
      if (event.kind !== 'frame') continue;
      const at = event.index / stream.rows;
      const { frame } = event;
      const isGood = Number.isInteger(at) && awaited.includes(at) && same(encodeNotification(frame), stream.packet(at));
      if (!isGood) {
        counts.takenForGood += 1;
        continue;
      }
      // Those before it can no longer come out in order.
      counts.goodLost += awaited.indexOf(at);
      awaited.splice(0, awaited.indexOf(at) + 1);
    }
  };
  const feed = (bytes: Uint8Array, hostTimeS: number): void => {
    try {
      look(parser.push(bytes, hostTimeS));
      for (const event of chain.push(bytes, hostTimeS)) {
        if (event.kind !== 'block') continue;
        // Rows do not say which they are; their times must lie on the stream's grid, as exact as the ticks.
        for (const timeS of event.block.timeS) {
          const row = (timeS * 1e6) / ticksPerRow;
          worstTimeErrorS = Math.max(worstTimeErrorS, (Math.abs(row - Math.round(row)) * ticksPerRow) / 1e6);
        }
      }
    } catch {
      counts.thrown += 1;
    }
  };

  for (let at = 0; counts.damaged < damagedCount; at++) {
    const good = stream.packet(at);
    const hostTimeS = 1e9 + (at * stream.rows * ticksPerRow) / 1e6;
    for (let extra = Math.floor(4 * uniform()); extra > 0; extra--) {
      const before = stream.packet(Math.max(0, at - 1 - Math.floor(4 * uniform())));
      feed(damage(before, good, uniform), hostTimeS);
      counts.damaged += 1;
    }
    if (at > 1 && uniform() < 0.1) {
      feed(damage(good, stream.packet(at + 1), uniform), hostTimeS);
      counts.damaged += 1;
    } else {
      awaited.push(at);
      counts.good += 1;
      feed(good, hostTimeS);
    }
    if (at % 997 === 0) {
      const characters = JSON.stringify(parser.state()).length;
      counts.longestStateCharacters = Math.max(counts.longestStateCharacters, characters);
    }
  }
  look(parser.finish());
  chain.finish();
  counts.goodLost += awaited.length;
  return { ...counts, worstTimeErrorS, heapGrowthBytes: heapBytes() - heapBefore };
}

/** @returns how many a checksum may miss: one in 2¹⁶ (2⁸) of those that nothing else shows, and four times its scatter. */
export function missableByChecksum(form: FuzzForm, damaged: number): number {
  const mean = damaged / (form === 'full' ? 65_536 : 256);
  return Math.ceil(mean + 4 * Math.sqrt(mean));
}

/** @returns bytes in use after a forced collection. */
function heapBytes(): number {
  setFlagsFromString('--expose-gc');
  const collect: () => void = runInNewContext('gc');
  collect();
  return process.memoryUsage().heapUsed;
}

/** A million damaged notifications, half of them in each form: nothing thrown, no good packet lost, memory bounded. */
export const prove: Prove = async ({ seed, scale, say }) => {
  const forms: Record<string, FuzzFigures> = {};
  const goals = [];
  for (const form of ['full', 'short'] as const) {
    const figures = fuzzProtocol(form, Math.ceil(500_000 * scale), seed(form));
    forms[form] = figures;
    say(`${form} form: ${JSON.stringify(figures)}`);
    const missable = missableByChecksum(form, figures.damaged);
    goals.push(
      goal(`${form} form: exceptions`, figures.thrown, { atMost: 0 }),
      goal(`${form} form: good packets lost`, figures.goodLost, { atMost: 0 }),
      goal(`${form} form: damaged packets taken for good`, figures.takenForGood, { atMost: missable }),
      goal(`${form} form: characters of the parser's state`, figures.longestStateCharacters, { atMost: 20_000 }),
      goal(`${form} form: worst error of a row's time, s`, figures.worstTimeErrorS, { atMost: timeBoundS }),
      goal(`${form} form: heap growth, bytes`, figures.heapGrowthBytes, { atMost: 5e6 }),
    );
  }
  return { goals, forms };
};
