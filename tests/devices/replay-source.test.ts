import { describe, expect, test } from 'vitest';
import type { SensorStateEvent } from '../../src/devices/notification-source.ts';
import { type RecordedSensor, ReplaySource } from '../../src/devices/replay-source.ts';
import { systemClock } from '../../src/devices/system-clock.ts';
import type { SensorNotification } from '../../src/foundation/sensor-notification.ts';
import { ManualClock } from './manual-clock.ts';

function sensor(sensorId: string, ...hostTimesS: number[]): RecordedSensor {
  return {
    sensorId,
    description: Uint8Array.of(1, sensorId.length),
    notifications: hostTimesS.map((hostTimeS, index) => ({ bytes: Uint8Array.of(index), hostTimeS })),
  };
}

function listen(source: ReplaySource) {
  const packets: SensorNotification[] = [];
  const states: SensorStateEvent[] = [];
  const ended = new Promise<void>((resolve) => {
    source.notifications.subscribe({ next: (packet) => packets.push(packet), complete: resolve });
  });
  source.states.subscribe((state) => states.push(state));
  return { packets, states, ended };
}

describe('ReplaySource in real time', () => {
  test('keeps the recorded distances and moves the host times to now', () => {
    const clock = new ManualClock(1000);
    const source = new ReplaySource({
      clock,
      pace: 'real-time',
      simulated: true,
      sensors: [sensor('a', 7, 7.5, 9), sensor('b', 7.25, 8)],
    });
    const { packets, states } = listen(source);
    expect(packets).toEqual([]);
    source.open('any');
    expect(states.map((event) => [event.sensorId, event.state, event.description?.[1]])).toEqual([
      ['a', 'streaming', 1],
      ['b', 'streaming', 1],
    ]);
    clock.advance(0.6);
    expect(packets.map((packet) => [packet.sensorId, packet.bytes[0], packet.hostTimeS])).toEqual([
      ['a', 0, 1000],
      ['b', 0, 1000.25],
      ['a', 1, 1000.5],
    ]);
    clock.advance(10);
    expect(packets.slice(3).map((packet) => [packet.sensorId, packet.hostTimeS])).toEqual([
      ['b', 1001],
      ['a', 1002],
    ]);
    expect(states.slice(2).map((event) => event.state)).toEqual(['ended', 'ended']);
  });

  test('after a hold-up gives all that is overdue, in order', () => {
    const clock = new ManualClock();
    const times = Array.from({ length: 40 }, (_, index) => index * 0.025);
    const source = new ReplaySource({ clock, pace: 'real-time', simulated: true, sensors: [sensor('a', ...times)] });
    const { packets } = listen(source);
    source.open('any');
    clock.jump(0.51);
    expect(packets.map((packet) => packet.bytes[0])).toEqual(Array.from({ length: 21 }, (_, index) => index));
  });

  test('stopped, gives nothing more and ends', async () => {
    const clock = new ManualClock();
    const source = new ReplaySource({ clock, pace: 'real-time', simulated: true, sensors: [sensor('a', 0, 1, 2)] });
    const { packets, states, ended } = listen(source);
    source.open('any');
    clock.advance(1.5);
    await source.close();
    await source.close();
    await ended;
    clock.advance(10);
    expect(packets).toHaveLength(2);
    expect(states.map((event) => event.state)).toEqual(['streaming', 'ended']);
  });
});

describe('ReplaySource at the fast pace', () => {
  test('gives everything with the recorded host times and lets others have their turn', async () => {
    const times = Array.from({ length: 1000 }, (_, index) => 5 + index * 0.025);
    const source = new ReplaySource({
      clock: systemClock,
      pace: 'fast',
      simulated: false,
      sensors: [sensor('a', ...times)],
    });
    const { packets, ended } = listen(source);
    let turns = 0;
    const timer = setInterval(() => {
      turns += 1;
    }, 0);
    source.open('any');
    await ended;
    clearInterval(timer);
    expect(packets.map((packet) => packet.hostTimeS)).toEqual(times);
    expect(turns).toBeGreaterThan(0);
  });

  test('an empty recording ends at once', async () => {
    const source = new ReplaySource({ clock: systemClock, pace: 'fast', simulated: false, sensors: [sensor('a')] });
    const { packets, states, ended } = listen(source);
    source.open('any');
    await ended;
    expect(packets).toEqual([]);
    expect(states.map((event) => event.state)).toEqual(['streaming', 'ended']);
  });
});

test('two sensors with one id are refused', () => {
  const sensors = [sensor('a', 0), sensor('a', 1)];
  const options = { clock: systemClock, pace: 'fast', simulated: false, sensors } as const;
  expect(() => new ReplaySource(options)).toThrow(/got a twice/);
});
