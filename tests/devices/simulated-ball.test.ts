import { expect, test } from 'vitest';
import { SimulatedBall } from '../../src/devices/simulated-ball.ts';
import { createSimulatedBall } from '../../src/devices/simulated-practice.ts';
import { decodeNotification, type NotificationFrame } from '../../src/protocol/notification.ts';
import { decodeSensorDescription, type SensorDescription } from '../../src/protocol/sensor-description.ts';
import { ManualClock } from './manual-clock.ts';

test('plays one practice after another without end, each announced by its description', async () => {
  const clock = new ManualClock(100);
  const made: number[] = [];
  const ball = new SimulatedBall({
    clock,
    sensorId: 'ball-a',
    restS: 1,
    makePractice(practiceIndex) {
      made.push(practiceIndex);
      const notifications = [0.25, 0.5, 2].map((hostTimeS, at) => ({
        bytes: Uint8Array.of(practiceIndex, at),
        hostTimeS,
      }));
      return { description: Uint8Array.of(practiceIndex), notifications };
    },
  });
  const seen: string[] = [];
  ball.states.subscribe((event) => seen.push(`${event.state} ${event.description?.[0] ?? ''} ${event.hostTimeS}`));
  ball.notifications.subscribe((packet) => seen.push(`${packet.bytes.join('.')} ${packet.hostTimeS}`));
  expect(made).toEqual([]);
  ball.open('any');
  clock.advance(4.5);
  expect(seen).toEqual([
    'streaming 0 100',
    '0.0 100.25',
    '0.1 100.5',
    '0.2 102',
    'streaming 1 103',
    '1.0 103.25',
    '1.1 103.5',
  ]);
  clock.advance(1000);
  expect(made.length).toBeGreaterThan(300);
  await ball.close();
  const count = seen.length;
  clock.advance(10);
  expect(seen).toHaveLength(count);
  expect(seen.at(-1)).toMatch(/^ended/);
});

test('a practice that takes long to make starts late instead of in a burst', () => {
  const clock = new ManualClock(100);
  const ball = new SimulatedBall({
    clock,
    sensorId: 'ball-a',
    makePractice() {
      clock.jump(5);
      return { description: Uint8Array.of(1), notifications: [{ bytes: Uint8Array.of(1), hostTimeS: 1 }] };
    },
  });
  const hostTimesS: number[] = [];
  ball.notifications.subscribe((packet) => hostTimesS.push(packet.hostTimeS));
  ball.open('any');
  clock.advance(1.5);
  expect(hostTimesS).toEqual([106]);
});

test('the simulated shooter sends what a sensor sends: its description, then notifications that can be read', () => {
  const clock = new ManualClock(1.7e9);
  const ball = createSimulatedBall({ clock, seed: 1 });
  const descriptions: SensorDescription[] = [];
  const frames: NotificationFrame[] = [];
  const delaysS: number[] = [];
  ball.states.subscribe(({ description }) => {
    if (description) descriptions.push(decodeSensorDescription(description));
  });
  ball.notifications.subscribe(({ sensorId, bytes, hostTimeS }) => {
    expect(sensorId).toBe(descriptions[0]?.sensorId);
    const decoded = decodeNotification(bytes);
    if (decoded.kind !== 'frame') throw new Error(decoded.problem);
    frames.push(decoded.frame);
    delaysS.push(clock.nowS() - hostTimeS);
  });
  ball.open('any');
  clock.advance(20);
  expect(descriptions).toHaveLength(1);
  expect(descriptions[0]).toMatchObject({ accelRateHz: 416, gyroRateHz: 416, placement: 'ball' });
  // 20 s in packets of at most 25 ms, of which a few are lost.
  expect(frames.length).toBeGreaterThan(0.9 * (20 / 0.025));
  const sequences = frames.map((frame) => frame.sequence);
  expect(sequences).toEqual([...sequences].sort((one, other) => one - other));
  expect(delaysS.every((delayS) => Math.abs(delayS) < 1e-6)).toBe(true);
});

test('the simulated shooter starts the sensor anew with every practice and never stops', () => {
  const clock = new ManualClock(1.7e9);
  const ball = createSimulatedBall({ clock, seed: 1, sampleRateHz: 104 });
  const startNumbers = new Set<number | null>();
  let streams = 0;
  ball.states.subscribe(({ state }) => {
    if (state === 'streaming') streams += 1;
  });
  ball.notifications.subscribe(({ bytes }) => {
    const decoded = decodeNotification(bytes);
    if (decoded.kind === 'frame') startNumbers.add(decoded.frame.startNumber);
  });
  ball.open('any');
  while (streams < 2) clock.advance(10);
  clock.advance(1);
  expect([...startNumbers]).toEqual([0, 1]);
});

test('says that it is there, and that it cannot blink', async () => {
  const ball = createSimulatedBall({ clock: new ManualClock(100), seed: 1 });
  const seen: string[] = [];
  ball.discover().subscribe((sensor) => seen.push(String(sensor.sensorId)));
  expect(seen).toHaveLength(1);
  await expect(ball.identify(seen[0]!)).rejects.toMatchObject({ code: 'sensor-cannot-identify' });
  await expect(ball.identify('f00d')).rejects.toMatchObject({ code: 'sensor-not-connected' });
});

test('stays silent when another sensor is wanted', () => {
  const clock = new ManualClock(100);
  const ball = createSimulatedBall({ clock, seed: 1 });
  const seen: string[] = [];
  ball.states.subscribe((event) => seen.push(event.state));
  ball.open(['f00d']);
  clock.advance(10);
  expect(seen).toEqual([]);
});
