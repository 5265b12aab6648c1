import { beforeEach, describe, expect, test } from 'vitest';
import { type ConnectionState, LiveConnection, type LiveSocket } from '../../src/dashboard/live-connection.ts';

class MadeSocket implements LiveSocket {
  onopen: (() => void) | null = null;
  onmessage: ((event: { readonly data: unknown }) => void) | null = null;
  onclose: (() => void) | null = null;
  closed = false;

  close(): void {
    this.closed = true;
  }
}

interface Timer {
  readonly id: number;
  readonly callback: () => void;
  readonly delayMs: number;
}

let sockets: MadeSocket[] = [];
let asked: (number | null)[] = [];
let states: ConnectionState[] = [];
let seqs: number[] = [];
let timers: Timer[] = [];
let nextTimer = 1;
let newerCount = 0;
let since: number | null = null;

beforeEach(() => {
  sockets = [];
  asked = [];
  states = [];
  seqs = [];
  timers = [];
  nextTimer = 1;
  newerCount = 0;
  since = null;
});

function start(): LiveConnection {
  const connection = new LiveConnection({
    open(from) {
      asked.push(from);
      const socket = new MadeSocket();
      sockets.push(socket);
      return socket;
    },
    since: () => since,
    onDocument: (document) => seqs.push(document.seq),
    onState: (state) => states.push(state),
    onNewerService: () => {
      newerCount += 1;
    },
    setTimer(callback, delayMs) {
      timers.push({ id: nextTimer, callback, delayMs });
      return nextTimer++;
    },
    clearTimer(id) {
      timers = timers.filter((timer) => timer.id !== id);
    },
    random: () => 0.5,
  });
  connection.start();
  return connection;
}

const socketAt = (index: number): MadeSocket => sockets[index] as MadeSocket;

function send(socket: MadeSocket, seq: number, v = 1): void {
  socket.onmessage?.({ data: JSON.stringify({ v, seq, kind: 'sensor' }) });
}

/** Lets the one timer that waits run out. @returns how long it was set for. */
function runTimer(): number {
  expect(timers).toHaveLength(1);
  const [timer] = timers.splice(0) as [Timer];
  timer.callback();
  return timer.delayMs;
}

describe('LiveConnection', () => {
  test('hands on what comes', () => {
    start();
    socketAt(0).onopen?.();
    send(socketAt(0), 7);
    expect(states).toEqual(['connecting', 'open']);
    expect(seqs).toEqual([7]);
  });

  test('opens again after a loss and asks for what was missed', () => {
    start();
    socketAt(0).onopen?.();
    since = 7;
    socketAt(0).onclose?.();
    expect(states.at(-1)).toBe('lost');
    runTimer();
    socketAt(1).onopen?.();
    expect(asked).toEqual([null, 7]);
    expect(states).toEqual(['connecting', 'open', 'lost', 'open']);
  });

  test('waits longer each time, up to a bound, and little again once the service has spoken', () => {
    start();
    const delaysMs: number[] = [];
    for (let attempt = 0; attempt < 7; attempt++) {
      socketAt(attempt).onclose?.();
      delaysMs.push(runTimer());
    }
    expect(delaysMs).toEqual([250, 500, 1000, 2000, 4000, 4000, 4000]);
    socketAt(7).onopen?.();
    send(socketAt(7), 1);
    socketAt(7).onclose?.();
    expect(runTimer()).toBe(250);
  });

  test('takes silence for a loss, and nothing more from the silent socket', () => {
    start();
    socketAt(0).onopen?.();
    send(socketAt(0), 1);
    runTimer();
    expect(states.at(-1)).toBe('lost');
    expect(socketAt(0).closed).toBe(true);
    send(socketAt(0), 2);
    socketAt(0).onclose?.();
    expect(seqs).toEqual([1]);
    runTimer();
    expect(sockets).toHaveLength(2);
  });

  test('tries at once when told, but not twice', () => {
    const connection = start();
    connection.retryNow();
    expect(sockets).toHaveLength(1);
    socketAt(0).onclose?.();
    connection.retryNow();
    connection.retryNow();
    expect(sockets).toHaveLength(2);
    expect(timers).toHaveLength(0);
  });

  test('stopped, opens nothing more', () => {
    const connection = start();
    socketAt(0).onopen?.();
    connection.stop();
    socketAt(0).onclose?.();
    expect(timers).toHaveLength(0);
    expect(socketAt(0).closed).toBe(true);
  });

  test('passes over what is no document and tells of a version it does not know', () => {
    start();
    socketAt(0).onopen?.();
    socketAt(0).onmessage?.({ data: '{"v":1,' });
    send(socketAt(0), 3, 2);
    expect(seqs).toEqual([]);
    expect(newerCount).toBe(1);
  });
});
