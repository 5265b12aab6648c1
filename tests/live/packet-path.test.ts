import { Subject } from 'rxjs';
import { describe, expect, test } from 'vitest';
import type { SensorNotification } from '../../src/foundation/sensor-notification.ts';
import type { ChainEvent, ChainSummary } from '../../src/live/notification-chain.ts';
import { PacketPath } from '../../src/live/packet-path.ts';
import type { PacketChain, PathEvent, SensorStateChange } from '../../src/live/sensor-streams.ts';
import type { Preparation } from '../../src/shots/shot.ts';

/** A chain that rejects once a packet, says what it was given, and breaks when told to by a first byte of 255. */
class TellingChain implements PacketChain {
  readonly #name: string;
  #count = 0;
  readonly #due: number[] = [];

  constructor(name: string) {
    this.#name = name;
  }

  push(bytes: Uint8Array): ChainEvent[] {
    if (bytes[0] === 255) throw new Error('the chain broke');
    this.#count += 1;
    if ((bytes[0] ?? 0) >= 100) this.#due.push((bytes[0] as number) - 100);
    return [{ kind: 'rate', sampleRateHz: 400, standardErrorHz: 1 }, rejected(`${this.#name} packet ${bytes[0]}`)];
  }

  finish(): ChainEvent[] {
    return [rejected(`${this.#name} finished after ${this.#count}`)];
  }

  summary(): ChainSummary {
    return { packets: this.#count } as ChainSummary;
  }

  /** A packet 100 + n leaves one piece of work that is due in n seconds. */
  preparation(): Preparation | null {
    const [dueInS] = this.#due;
    if (dueInS === undefined) return null;
    return { dueInS, work: () => prepared.push(`${this.#name} for ${this.#due.shift()} s`) };
  }
}

/** What the chains prepared, in order. */
const prepared: string[] = [];

function rejected(reason: string): ChainEvent {
  return { kind: 'rejected', rejected: { startS: 0, endS: 1, kind: 'toss', reason } };
}

function setUp() {
  const notifications = new Subject<SensorNotification>();
  const states = new Subject<SensorStateChange>();
  const path = new PacketPath({
    notifications,
    states,
    openChain(sensorId, description) {
      if (description[0] === 0) throw new Error('the description makes no sense');
      return new TellingChain(`${sensorId}/${description[0]}`);
    },
  });
  const events: PathEvent[] = [];
  let completed = false;
  path.events.subscribe({
    next: (event) => events.push(event),
    complete: () => {
      completed = true;
    },
  });
  let hostTimeS = 100;
  return {
    path,
    state(sensorId: string, state: SensorStateChange['state'], description?: number): void {
      hostTimeS += 1;
      const bytes = description === undefined ? null : Uint8Array.of(description);
      states.next({ sensorId, state, hostTimeS, description: bytes, detail: null });
    },
    packet(sensorId: string, first: number): void {
      hostTimeS += 1;
      notifications.next({ sensorId, bytes: Uint8Array.of(first), hostTimeS });
    },
    end(): void {
      states.complete();
      notifications.complete();
    },
    said: () => events.map(describeEvent),
    takeSaid: () => events.splice(0).map(describeEvent),
    isCompleted: () => completed,
  };
}

function describeEvent(event: PathEvent): string {
  const head = `${event.sensorId}#${event.streamIndex}@${event.hostTimeS}`;
  if (event.kind === 'analysis')
    return `${head} ${event.event.kind === 'rejected' ? event.event.rejected.reason : 'shot'}`;
  if (event.kind === 'stream') return `${head} ${event.event.kind}`;
  return `${head} ${event.kind} ${event.kind === 'state' ? event.state : event.message}`;
}

describe('PacketPath', () => {
  test('leads the packets of each sensor through its own chain, in order', () => {
    const { state, packet, end, said, isCompleted } = setUp();
    state('a', 'streaming', 1);
    state('b', 'streaming', 2);
    packet('a', 10);
    packet('b', 20);
    packet('a', 11);
    end();
    expect(said()).toEqual([
      'a#0@101 state streaming',
      'b#0@102 state streaming',
      'a#0@103 rate',
      'a#0@103 a/1 packet 10',
      'b#0@104 rate',
      'b#0@104 b/2 packet 20',
      'a#0@105 rate',
      'a#0@105 a/1 packet 11',
      'a#0@105 a/1 finished after 2',
      'b#0@104 b/2 finished after 1',
    ]);
    expect(isCompleted()).toBe(true);
  });

  test('a new stream of a sensor ends the chain before it and counts up', () => {
    const { state, packet, takeSaid } = setUp();
    state('a', 'streaming', 1);
    packet('a', 10);
    takeSaid();
    state('a', 'streaming', 2);
    packet('a', 11);
    expect(takeSaid()).toEqual([
      'a#0@102 a/1 finished after 1',
      'a#1@103 state streaming',
      'a#1@104 rate',
      'a#1@104 a/2 packet 11',
    ]);
  });

  test('a lost radio keeps the chain: the packets may go on', () => {
    const { state, packet, takeSaid } = setUp();
    state('a', 'streaming', 1);
    state('a', 'lost');
    takeSaid();
    packet('a', 10);
    expect(takeSaid()).toEqual(['a#0@103 rate', 'a#0@103 a/1 packet 10']);
  });

  test('a chain that breaks is replaced, and the other sensors do not notice', () => {
    const { state, packet, takeSaid, path } = setUp();
    state('a', 'streaming', 1);
    state('b', 'streaming', 2);
    packet('a', 10);
    takeSaid();
    packet('a', 255);
    packet('b', 20);
    packet('a', 11);
    expect(takeSaid()).toEqual([
      'a#0@104 fault the chain broke',
      'b#0@105 rate',
      'b#0@105 b/2 packet 20',
      'a#1@106 rate',
      'a#1@106 a/1 packet 11',
    ]);
    expect(path.summary('a')?.packets).toBe(1);
  });

  test('a description that makes no sense is a fault, and the sensor can start again', () => {
    const { state, packet, takeSaid, path } = setUp();
    state('a', 'streaming', 0);
    packet('a', 10);
    expect(takeSaid()).toEqual(['a#0@101 fault the description makes no sense', 'a#0@101 state streaming']);
    expect(path.summary('a')).toBeNull();
    state('a', 'streaming', 3);
    packet('a', 11);
    expect(takeSaid().at(-1)).toBe('a#1@104 a/3 packet 11');
  });

  test('prepares what is due soonest, one piece a call', () => {
    const { state, packet, path } = setUp();
    state('a', 'streaming', 1);
    state('b', 'streaming', 2);
    expect(path.prepare()).toBe(false);
    packet('a', 105);
    packet('a', 101);
    packet('b', 103);
    prepared.length = 0;
    expect([path.prepare(), path.prepare(), path.prepare(), path.prepare()]).toEqual([true, true, true, false]);
    expect(prepared).toEqual(['b/2 for 3 s', 'a/1 for 5 s', 'a/1 for 1 s']);
  });

  test('packets before any description give nothing', () => {
    const { packet, end, said } = setUp();
    packet('a', 10);
    end();
    expect(said()).toEqual([]);
  });
});
