import { describe, expect, test } from 'vitest';
import { ClientWriter, type WriterSocket } from '../../src/server/client-writer.ts';
import { ShotLog } from '../../src/server/shot-log.ts';
import type { LiveDocument } from '../../src/server/wire/live-document.ts';
import { shotDocument } from './made-shots.ts';

/** A socket whose network takes only what it is told to take. */
class SlowSocket implements WriterSocket {
  readonly received: LiveDocument[] = [];
  readonly #waiting: { text: string; done: (error?: Error | null) => void }[] = [];
  terminated = false;
  mostBuffered = 0;
  stuck = false;

  get bufferedAmount(): number {
    return this.#waiting.reduce((sum, { text }) => sum + text.length, 0);
  }

  send(text: string, done: (error?: Error | null) => void): void {
    this.#waiting.push({ text, done });
    this.mostBuffered = Math.max(this.mostBuffered, this.bufferedAmount);
    if (!this.stuck) this.drain();
  }

  drain(count = Number.POSITIVE_INFINITY): void {
    for (let taken = 0; taken < count; taken++) {
      const first = this.#waiting.shift();
      if (!first) return;
      this.received.push(JSON.parse(first.text) as LiveDocument);
      first.done();
    }
  }

  terminate(): void {
    this.terminated = true;
  }

  get seqs(): number[] {
    return this.received.flatMap((document) => (document.kind === 'shot' ? [document.seq] : []));
  }

  get kinds(): string[] {
    return this.received.map((document) => document.kind);
  }
}

function connect(socket: SlowSocket, log: ShotLog, since: number | null = null, latestShotCount = 50) {
  const sensors = new Map<string, number>();
  const writer = new ClientWriter({
    socket,
    log,
    since,
    latestShotCount,
    hello: (catchUp) => JSON.stringify({ v: 1, seq: log.lastSeq, kind: 'hello', catchUp }),
    sensorState: (sensorId) => {
      const count = sensors.get(sensorId);
      return count === undefined ? null : JSON.stringify({ v: 1, kind: 'sensor', sensor: { sensorId, count } });
    },
  });
  const setSensor = (sensorId: string, count: number): void => {
    sensors.set(sensorId, count);
    writer.sensorChanged(sensorId);
  };
  return { writer, setSensor };
}

function filledLog(count: number, keepCount = 1000): ShotLog {
  const log = new ShotLog([], keepCount);
  for (let index = 0; index < count; index++) addShot(log, index);
  return log;
}

function addShot(log: ShotLog, index: number, stage: 'early' | 'final' = 'final'): void {
  log.add(shotDocument(log.takeNumber(), stage, index));
}

describe('what a client gets at first', () => {
  test('a greeting and the last shots, when it names no number', () => {
    const socket = new SlowSocket();
    connect(socket, filledLog(5), null, 3);
    expect(socket.received[0]).toMatchObject({ kind: 'hello', catchUp: 'latest', seq: 5 });
    expect(socket.seqs).toEqual([3, 4, 5]);
  });

  test('all since its number, even more than the last ones', () => {
    const socket = new SlowSocket();
    connect(socket, filledLog(9), 2, 3);
    expect(socket.received[0]).toMatchObject({ kind: 'hello', catchUp: 'complete' });
    expect(socket.seqs).toEqual([3, 4, 5, 6, 7, 8, 9]);
  });

  test('nothing twice when it has all', () => {
    const socket = new SlowSocket();
    connect(socket, filledLog(4), 4);
    expect(socket.kinds).toEqual(['hello']);
  });

  test('the last ones when its number is one this service never gave', () => {
    const socket = new SlowSocket();
    connect(socket, filledLog(4), 400);
    expect(socket.received[0]).toMatchObject({ catchUp: 'latest' });
    expect(socket.seqs).toEqual([1, 2, 3, 4]);
  });

  test('what is left, and that it is not all, when it was away too long', () => {
    const socket = new SlowSocket();
    connect(socket, filledLog(10, 4), 2);
    expect(socket.received[0]).toMatchObject({ catchUp: 'incomplete' });
    expect(socket.seqs).toEqual([7, 8, 9, 10]);
  });
});

describe('a slow client', () => {
  test('a first burst far above the bound neither loses a shot nor cuts the client off', () => {
    const socket = new SlowSocket();
    socket.stuck = true;
    const log = filledLog(300);
    connect(socket, log, 0);
    expect(socket.mostBuffered).toBeLessThan(80_000);
    for (let turn = 0; turn < 400; turn++) socket.drain(1);
    expect(socket.seqs).toEqual(Array.from({ length: 300 }, (_, index) => index + 1));
    expect(socket.terminated).toBe(false);
  });

  test('newer documents never overtake older ones', () => {
    const socket = new SlowSocket();
    socket.stuck = true;
    const log = filledLog(100);
    const { writer, setSensor } = connect(socket, log, 0);
    for (let index = 100; index < 200; index++) {
      addShot(log, index);
      writer.wake();
      setSensor('ball-a', index);
      if (index % 3 === 0) socket.drain(2);
    }
    socket.stuck = false;
    socket.drain();
    expect(socket.seqs).toEqual(Array.from({ length: 200 }, (_, index) => index + 1));
  });

  test('every kind of document is held to the bound', () => {
    const socket = new SlowSocket();
    const log = filledLog(0);
    const { writer, setSensor } = connect(socket, log);
    socket.stuck = true;
    for (let index = 0; index < 5000; index++) {
      setSensor(`ball-${index % 16}`, index);
      if (index % 5 === 0) addShot(log, index);
      writer.wake();
    }
    expect(socket.mostBuffered).toBeLessThan(80_000);
  });

  test('gets the latest state of a sensor, not its history', () => {
    const socket = new SlowSocket();
    const log = filledLog(200);
    socket.stuck = true;
    const { setSensor } = connect(socket, log, 0);
    for (let count = 1; count <= 500; count++) setSensor('ball-a', count);
    socket.stuck = false;
    socket.drain();
    const states = socket.received.filter((document) => document.kind === 'sensor');
    expect(states).toEqual([{ v: 1, kind: 'sensor', sensor: { sensorId: 'ball-a', count: 500 } }]);
  });

  test('gets no early numbers once the final ones are there', () => {
    const socket = new SlowSocket();
    const log = filledLog(100);
    socket.stuck = true;
    const { writer } = connect(socket, log, 0);
    addShot(log, 500, 'early');
    writer.wake();
    addShot(log, 500, 'final');
    writer.wake();
    socket.stuck = false;
    socket.drain();
    expect(socket.seqs.slice(-2)).toEqual([100, 102]);
  });

  test('that falls behind what is held is told so and goes on with what there is', () => {
    const socket = new SlowSocket();
    const log = filledLog(60, 60);
    socket.stuck = true;
    const { writer } = connect(socket, log, 0);
    for (let index = 60; index < 200; index++) {
      addShot(log, index);
      writer.wake();
    }
    socket.stuck = false;
    socket.drain();
    expect(socket.received.filter((document) => document.kind === 'hello').at(-1)).toMatchObject({
      catchUp: 'incomplete',
    });
    const { seqs } = socket;
    expect(seqs).toEqual([...seqs].sort((one, other) => one - other));
    expect(new Set(seqs).size).toBe(seqs.length);
    expect(seqs.slice(-60)).toEqual(Array.from({ length: 60 }, (_, index) => index + 141));
  });

  test('is cut off when it takes nothing over several checks, and not when it takes a little', () => {
    const dead = new SlowSocket();
    const lame = new SlowSocket();
    dead.stuck = true;
    lame.stuck = true;
    const log = filledLog(300);
    const { writer: deadWriter } = connect(dead, log, 0);
    const { writer: lameWriter } = connect(lame, log, 0);
    const kept: boolean[] = [];
    for (let check = 0; check < 3; check++) {
      kept.push(deadWriter.check());
      lame.drain(5);
      expect(lameWriter.check()).toBe(true);
    }
    expect(kept).toEqual([true, true, false]);
    expect(dead.terminated).toBe(true);
    expect(lame.terminated).toBe(false);
  });
});

test('a client that was closed gets nothing more', () => {
  const socket = new SlowSocket();
  const log = filledLog(1);
  const { writer } = connect(socket, log);
  writer.close();
  addShot(log, 1);
  writer.wake();
  expect(socket.seqs).toEqual([1]);
});
