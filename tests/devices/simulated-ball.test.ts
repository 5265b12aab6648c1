import { expect, test } from 'vitest';
import { SimulatedBall } from '../../src/devices/simulated-ball.ts';
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
  ball.start();
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
  await ball.stop();
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
  ball.start();
  clock.advance(1.5);
  expect(hostTimesS).toEqual([106]);
});
