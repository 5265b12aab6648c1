import { afterEach, beforeEach, describe, expect, test, vi } from 'vitest';
import { decodeLiveSamples } from '../../../src/dashboard/research/live/decode-live-samples.ts';
import { SampleRing } from '../../../src/dashboard/research/live/sample-ring.ts';
import type { ImuBlock } from '../../../src/foundation/imu-block.ts';
import { noSetup } from '../../../src/live/sensor-setup.ts';
import type { StreamBlock } from '../../../src/live/sensor-streams.ts';
import { LiveSignals } from '../../../src/server/research/live-signals.ts';
import { descriptionBytes } from '../../sessions/recording/made-recording.ts';

const nowS = 1_764_000_000;

function block(firstS: number, count: number, hasGyro = true): ImuBlock {
  const column = (scale: number) => Float64Array.from({ length: 3 * count }, (_, i) => scale * (i + 1));
  return {
    length: count,
    timeS: Float64Array.from({ length: count }, (_, i) => firstS + i / 208),
    accelMps2: column(0.5),
    gyroRadps: hasGyro ? column(-0.25) : null,
    flags: Uint8Array.from({ length: count }, (_, i) => (i === 1 ? 5 : 0)),
  };
}

describe('samples as they come', () => {
  let take: ((block: StreamBlock) => void) | null;
  let signals: LiveSignals;

  beforeEach(() => {
    vi.useFakeTimers();
    take = null;
    signals = new LiveSignals(() => nowS);
    signals.attach({
      follow(own) {
        take = own;
        return () => {
          take = null;
        };
      },
      clockOf: () => ({
        ...{ referenceS: 10, hostTimeS: nowS, hostTimeStandardErrorS: 0.001, driftPpm: 100, driftStandardErrorPpm: 1 },
      }),
      rateOf: () => 207.5,
    });
    signals.takeState({
      sensorId: 'a',
      state: 'streaming',
      hostTimeS: nowS,
      description: descriptionBytes,
      detail: null,
    });
  });
  afterEach(() => {
    vi.useRealTimers();
  });

  function watched() {
    const texts: Record<string, unknown>[] = [];
    const messages: ReturnType<typeof decodeLiveSamples>[] = [];
    const socket = {
      bufferedAmount: 0,
      wasCut: false,
      send(data: string | Uint8Array) {
        if (typeof data === 'string') texts.push(JSON.parse(data));
        else messages.push(decodeLiveSamples(data.slice().buffer as ArrayBuffer));
      },
      terminate() {
        socket.wasCut = true;
      },
    };
    return { texts, messages, socket, stop: signals.watch(socket) };
  }
  const say = (firstS: number, count = 20, streamIndex = 0, sensorId = 'a') =>
    take?.({ sensorId, streamIndex, hostTimeS: nowS, block: block(firstS, count) });

  test('are taken from the analysis while somebody watches, and not otherwise', () => {
    expect(take).toBeNull();
    const one = watched();
    const other = watched();
    expect(take).not.toBeNull();
    one.stop();
    expect(take).not.toBeNull();
    other.stop();
    expect(take).toBeNull();
  });

  test('come in one message every 40 ms, each as the analysis had it', () => {
    const { texts, messages } = watched();
    say(1, 20);
    say(1 + 20 / 208, 7);
    expect(messages).toEqual([]);
    vi.advanceTimersByTime(41);
    expect(messages).toHaveLength(1);
    expect(texts.at(-1)).toMatchObject({
      ...{ v: 1, kind: 'streams', nowS },
      streams: [{ stream: 0, sensorId: 'a', streamIndex: 0, rateHz: 207.5, isCalibrated: false, hasGyro: true }],
    });
    const [part] = messages[0]?.parts ?? [];
    expect(part).toMatchObject({ stream: 0, count: 27, firstS: 1 });
    const ring = new SampleRing(64, true);
    if (part) ring.push(part);
    for (let i = 0; i < 27; i++) expect(ring.timeS(i)).toBeCloseTo(1 + i / 208, 6);
    const told = [block(1, 20), block(1, 7)].flatMap(({ accelMps2, gyroRadps, length }) =>
      Array.from({ length }, (_, i) => [
        ...accelMps2.slice(3 * i, 3 * i + 3),
        ...(gyroRadps ?? []).slice(3 * i, 3 * i + 3),
      ]),
    );
    for (const [i, values] of told.entries())
      expect(
        [0, 1, 2].flatMap((axis) => [ring.value(axis, 0, i)]).concat([0, 1, 2].map((axis) => ring.value(axis, 3, i))),
      ).toEqual(values.map(Math.fround));
    expect([0, 1, 2, 20, 21].map((i) => ring.hasGapBefore(i))).toEqual([false, true, false, false, true]);
  });

  test('say by the clock when they were, and whether a calibration was applied', () => {
    signals.takeSetup('a', { ...noSetup, correction: {} as never });
    const { texts } = watched();
    say(1);
    const [stream] = (texts.at(-1) as { streams: { clock: { zeroS: number; slope: number }; isCalibrated: boolean }[] })
      .streams;
    expect(stream?.isCalibrated).toBe(true);
    expect((stream?.clock.zeroS ?? 0) + 10 * (stream?.clock.slope ?? 0)).toBeCloseTo(nowS, 6);
  });

  test('are left out for one who cannot follow, who sees it by the numbers, and never for the others', () => {
    const slow = watched();
    const quick = watched();
    const step = (at: number): void => {
      say(at);
      vi.advanceTimersByTime(40);
    };
    step(1);
    slow.socket.bufferedAmount = 300_000;
    for (let i = 2; i < 10; i++) step(i);
    slow.socket.bufferedAmount = 0;
    step(10);
    expect(quick.messages.map(({ number }) => number)).toEqual([0, 1, 2, 3, 4, 5, 6, 7, 8, 9]);
    expect(slow.messages.map(({ number }) => number)).toEqual([0, 9]);
    expect(slow.socket.wasCut).toBe(false);
  });

  test('cut off one who takes nothing for 20 s', () => {
    const { socket } = watched();
    socket.bufferedAmount = 300_000;
    vi.advanceTimersByTime(19_500);
    expect(socket.wasCut).toBe(false);
    vi.advanceTimersByTime(1000);
    expect(socket.wasCut).toBe(true);
  });

  test('of a new connection of a sensor are another stream, and those of one that ended none', () => {
    const { texts, messages } = watched();
    say(100);
    vi.advanceTimersByTime(41);
    say(0, 20, 1);
    // What the former stream still had.
    say(101, 5, 0);
    vi.advanceTimersByTime(41);
    expect(messages.map(({ parts }) => parts.map(({ stream, count }) => [stream, count]))).toEqual([
      [[0, 20]],
      [[1, 20]],
    ]);
    expect(texts.at(-1)).toMatchObject({ streams: [{ stream: 1, streamIndex: 1 }] });
    signals.takeState({ sensorId: 'a', state: 'ended', hostTimeS: nowS, description: null, detail: null });
    expect(texts.at(-1)).toMatchObject({ streams: [] });
  });
});
