import { Worker } from 'node:worker_threads';
import { Subject } from 'rxjs';
import { afterEach, beforeEach, describe, expect, test, vi } from 'vitest';
import type { SensorNotification } from '../../../src/foundation/sensor-notification.ts';
import { noSetup, type SensorSetup } from '../../../src/live/sensor-setup.ts';
import type { PathEvent, SensorStateChange } from '../../../src/live/sensor-streams.ts';
import { AnalysisThreads } from '../../../src/server/analysis/analysis-threads.ts';
import { defaultBallSettings } from '../../../src/shots/shot.ts';

const threadFile = new URL('./odd-thread.mjs', import.meta.url);

describe('threads that break', () => {
  let notifications: Subject<SensorNotification>;
  let states: Subject<SensorStateChange>;
  let told: string[];
  let ended: Promise<void>;

  beforeEach(() => {
    notifications = new Subject();
    states = new Subject();
    told = [];
    const options = { settings: defaultBallSettings, threadCount: 2, notifications, states };
    const { events } = new AnalysisThreads({ ...options, hungAfterS: 2, threadFile });
    ended = new Promise((resolve) => {
      events.subscribe({ next: (event) => told.push(inWords(event)), complete: resolve });
    });
    for (const sensorId of ['left', 'right']) {
      const description = new Uint8Array(1);
      states.next({ sensorId, state: 'streaming', hostTimeS: 1, description, detail: null });
    }
  });
  afterEach(() => {
    notifications.complete();
    states.complete();
  });

  function inWords(event: PathEvent): string {
    if (event.kind === 'state') return `${event.sensorId} ${event.streamIndex} is ${event.state}`;
    const text = event.kind === 'stream' && 'message' in event.event ? event.event.message : event.kind;
    return `${event.sensorId} ${event.streamIndex} ${event.kind === 'fault' ? event.message : text}`;
  }

  function send(sensorId: string, first: number): void {
    notifications.next({ sensorId, hostTimeS: 2, bytes: Uint8Array.of(first) });
  }

  const tells = (text: string) => vi.waitFor(() => expect(told).toContain(text), { timeout: 240_000 });

  test('tell a fault of their sensors and go on with new streams; other threads do not notice', async () => {
    send('left', 1);
    await tells('left 0 the analysis thread broke: packet 1 is one too many; a new one goes on from here');
    await tells('left 1 streaming');
    send('left', 7);
    send('right', 8);
    await tells('left 1 packet 7');
    await tells('right 0 packet 8');
    expect(told.filter((text) => text.startsWith('right'))).toEqual(['right 0 streaming', 'right 0 packet 8']);
  });

  test('open the stream again of a sensor that had come back in the middle of it', async () => {
    states.next({ sensorId: 'left', state: 'streaming', hostTimeS: 2, description: null, detail: null });
    await tells('left 0 streaming again');
    send('left', 1);
    await tells('left 1 streaming');
    expect(told).not.toContain('left 1 streaming again');
  });

  test('tell the end of a sensor that ended while they broke', async () => {
    send('left', 1);
    states.next({ sensorId: 'left', state: 'ended', hostTimeS: 3, description: null, detail: null });
    await tells('left 0 is ended');
    send('right', 8);
    await tells('right 0 packet 8');
    expect(told).not.toContain('left 1 streaming');
    expect(told.filter((text) => text === 'left 0 is ended')).toHaveLength(1);
  });

  test('know of a sensor that was lost meanwhile', async () => {
    send('left', 1);
    states.next({ sensorId: 'left', state: 'lost', hostTimeS: 3, description: null, detail: 'out of reach' });
    await tells('left 1 streaming');
    await tells('left 1 lost again');
  });

  test('tell a fault when they break at the end', async () => {
    send('left', 4);
    await tells('left 0 packet 4');
    notifications.complete();
    states.complete();
    await ended;
    expect(told).toContain('left 0 the analysis thread broke: the end is too much; what it had not told yet is lost');
    expect(told.filter((text) => text.startsWith('right'))).toEqual(['right 0 streaming']);
  });

  test('tell a fault when they end between two of them', async () => {
    send('left', 1);
    await tells('left 0 packet 1');
    notifications.complete();
    states.complete();
    await ended;
    expect(told.filter((text) => text.startsWith('left 0 the analysis thread broke'))).toHaveLength(1);
  });

  test('are replaced when they hang', async () => {
    send('right', 2);
    send('left', 5);
    await tells('left 0 packet 5');
    await tells('right 0 the analysis thread gave no sign for 2 s; a new one goes on from here');
    send('right', 6);
    await tells('right 1 packet 6');
  });

  test('are not taken for hung while they work through what was handed over at once', async () => {
    // A question would be answered after four seconds.
    for (let count = 0; count < 16; count++) send('right', 9);
    send('right', 10);
    await tells('right 0 packet 10');
    expect(told.filter((text) => text.includes('gave no sign'))).toEqual([]);
  });

  test('end with their source', async () => {
    send('left', 3);
    notifications.complete();
    states.complete();
    await ended;
    expect(told).toContain('left 0 packet 3');
  });
});

test('a thread that loads for long is not taken for hung', async () => {
  const states = new Subject<SensorStateChange>();
  const { events } = new AnalysisThreads({
    ...{ settings: defaultBallSettings, threadCount: 1, notifications: new Subject<SensorNotification>(), states },
    ...{ hungAfterS: 1, threadFile: new URL('./slow-thread.mjs', import.meta.url) },
  });
  const kinds: string[] = [];
  events.subscribe(({ kind }) => kinds.push(kind));
  states.next({ sensorId: 'left', state: 'streaming', hostTimeS: 1, description: new Uint8Array(1), detail: null });
  await vi.waitFor(() => expect(kinds).toContain('stream'), { timeout: 240_000 });
  expect(kinds).not.toContain('fault');
  states.next({ sensorId: 'left', state: 'ended', hostTimeS: 2, description: null, detail: null });
  states.complete();
});

test('a thread says unasked that it is up, and after every hundred packets that it is at work', async () => {
  const thread = new Worker(new URL('../../../src/server/analysis/analysis-thread-from-source.mjs', import.meta.url), {
    workerData: { settings: defaultBallSettings },
  });
  const answers: unknown[] = [];
  const ended = new Promise((resolve) => thread.once('exit', resolve));
  thread.on('message', ({ kind }) => kind === 'answer' && answers.push(kind));
  for (let count = 0; count < 250; count++) {
    const packet = { sensorId: 'left', hostTimeS: count, bytes: Uint8Array.of(1) };
    thread.postMessage({ kind: 'packet', packet });
  }
  thread.postMessage({ kind: 'end' });
  await ended;
  expect(answers).toHaveLength(3);
});

test('a whole file that comes while its setup is still looked up is analysed to its end', async () => {
  const notifications = new Subject<SensorNotification>();
  const states = new Subject<SensorStateChange>();
  let found = (_: SensorSetup): void => {};
  const setup = new Promise<SensorSetup>((resolve) => {
    found = resolve;
  });
  const { events } = new AnalysisThreads({
    ...{ settings: defaultBallSettings, threadCount: 1, notifications, states, threadFile },
    setupOf: (sensorId) => (sensorId === 'slow' ? setup : Promise.resolve(noSetup)),
  });
  const counts = new Map<string, number>();
  const ended = new Promise<void>((resolve, reject) => {
    events.subscribe({
      next: ({ sensorId }) => counts.set(sensorId, (counts.get(sensorId) ?? 0) + 1),
      error: reject,
      complete: resolve,
    });
  });
  const packets = 20_000;
  const change = { hostTimeS: 1, detail: null };
  for (const sensorId of ['slow', 'quick']) {
    states.next({ ...change, sensorId, state: 'streaming', description: new Uint8Array(1) });
    for (let i = 0; i < packets; i++) notifications.next({ sensorId, hostTimeS: 2, bytes: Uint8Array.of(3) });
    states.next({ ...change, sensorId, state: 'ended', description: null });
  }
  notifications.complete();
  states.complete();
  // The quick one does not wait for the other.
  await vi.waitFor(() => expect(counts).toEqual(new Map([['quick', packets + 2]])), { timeout: 240_000 });
  found(noSetup);
  await ended;
  expect(counts.get('slow')).toBe(packets + 2);
});
