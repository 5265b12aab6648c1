import { beforeEach, describe, expect, test } from 'vitest';
import { type HeldStream, LiveFeed, type SampleSocket } from '../../../../src/dashboard/research/live/live-feed.ts';
import { encodeLiveSamples } from '../../../../src/server/research/encode-live-samples.ts';
import type { WireLiveStream } from '../../../../src/server/wire/live-signal-document.ts';

const serviceS = 1_764_000_000;
const about: WireLiveStream = {
  ...{ stream: 3, sensorId: 'a', streamIndex: 0, placement: 'ball', rateHz: 100, hasGyro: false, isCalibrated: false },
  ...{ accelRangeMps2: null, gyroRangeRadps: null, clock: { zeroS: serviceS, slope: 1, standardErrorS: 0.001 } },
};

describe('the feed of a page that watches', () => {
  let nowS: number;
  let sockets: SampleSocket[];
  let timers: Map<number, () => void>;
  let streams: readonly HeldStream[];
  let states: { isOpen: boolean; leftOut: number }[];
  let feed: LiveFeed;

  beforeEach(() => {
    [nowS, sockets, timers, streams, states] = [50, [], new Map(), [], []];
    let count = 0;
    feed = new LiveFeed({
      open() {
        const socket: SampleSocket = { binaryType: '', onopen: null, onmessage: null, onclose: null, close: () => {} };
        sockets.push(socket);
        return socket;
      },
      nowS: () => nowS,
      onStreams: (all) => {
        streams = all;
      },
      onState: (state) => states.push(state),
      setTimer(callback) {
        timers.set(++count, callback);
        return count;
      },
      clearTimer: (timer) => timers.delete(timer),
    });
    feed.start();
  });

  const tell = (all: readonly WireLiveStream[], sentS = serviceS) =>
    sockets.at(-1)?.onmessage?.({ data: JSON.stringify({ v: 1, kind: 'streams', nowS: sentS, streams: all }) });
  const send = (number: number, firstS: number, stream = 3) => {
    const length = 4;
    const timeS = Float64Array.from({ length }, (_, i) => firstS + i / 100);
    const block = {
      length,
      timeS,
      accelMps2: new Float64Array(12).fill(9.8),
      gyroRadps: null,
      flags: new Uint8Array(4),
    };
    const bytes = encodeLiveSamples(number, serviceS + firstS, [{ stream, blocks: [block] }]);
    sockets.at(-1)?.onmessage?.({ data: bytes.buffer });
  };

  test('keeps samples by stream, and marks a hole where messages were left out', () => {
    tell([about]);
    send(0, 0);
    send(1, 0.04);
    send(5, 0.2);
    const [held] = streams;
    expect(held?.ring.end).toBe(12);
    expect([4, 8, 9].map((index) => held?.ring.hasGapBefore(index))).toEqual([false, true, false]);
    expect(states.at(-1)).toEqual({ isOpen: true, leftOut: 3 });
  });

  test('ignores samples of a stream that it was not told of', () => {
    tell([about]);
    send(0, 0, 9);
    expect(streams[0]?.ring.end).toBe(0);
  });

  test('takes the clock of the message that came soonest, and follows one that was set anew', () => {
    tell([about], serviceS);
    nowS += 1.3;
    tell([about], serviceS + 1);
    expect(feed.serviceNowS).toBeCloseTo(serviceS + 1.3, 2);
    tell([about], serviceS + 100);
    expect(feed.serviceNowS).toBeCloseTo(serviceS + 100, 6);
  });

  test('draws anew only where a clock moves samples by more than can be overlooked', () => {
    tell([about]);
    send(0, 0);
    const better = (zeroS: number) => ({ ...about, clock: { zeroS, slope: 1, standardErrorS: 0.001 } });
    tell([better(serviceS + 0.001)]);
    expect(streams[0]?.clockTurn).toBe(0);
    tell([better(serviceS + 0.01)]);
    expect(streams[0]?.clockTurn).toBe(1);
    expect(streams[0]?.clock?.zeroS).toBe(serviceS + 0.01);
  });

  test('comes back by itself, keeps what is still seen, and takes no jump of numbers for a hole', () => {
    tell([about]);
    send(7, 0);
    sockets[0]?.onclose?.();
    expect(states.at(-1)?.isOpen).toBe(false);
    for (const callback of [...timers.values()]) callback();
    expect(sockets).toHaveLength(2);
    tell([{ ...about, stream: 0, streamIndex: 1 }]);
    expect(streams.map(({ about: { streamIndex }, ring }) => [streamIndex, ring.end])).toEqual([
      [0, 4],
      [1, 0],
    ]);
    send(400, 1, 0);
    expect(states.at(-1)).toEqual({ isOpen: true, leftOut: 0 });
    // Half a minute later nothing of the former is seen any more.
    nowS += 40;
    tell([{ ...about, stream: 0, streamIndex: 1 }], serviceS + 40);
    expect(streams.map(({ about: { streamIndex } }) => streamIndex)).toEqual([1]);
  });

  test('gives up a connection that says nothing', () => {
    tell([about]);
    for (const callback of [...timers.values()]) callback();
    expect(states.at(-1)?.isOpen).toBe(false);
  });
});
