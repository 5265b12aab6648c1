import { expect, test } from 'vitest';
import { createSimulatedPair } from '../../src/devices/simulated-pair.ts';
import type { SensorNotification } from '../../src/foundation/sensor-notification.ts';
import { decodeNotification } from '../../src/protocol/notification.ts';
import { decodeSensorDescription } from '../../src/protocol/sensor-description.ts';
import { ManualClock } from './manual-clock.ts';

function play(seed: number, wanted: 'any' | 'arm') {
  const clock = new ManualClock(1.7e9);
  const pair = createSimulatedPair({ clock, seed });
  const ids: string[] = [];
  pair.discover().subscribe(({ sensorId }) => ids.push(sensorId ?? ''));
  const placements = new Map<string, string>();
  const packets: SensorNotification[] = [];
  pair.states.subscribe(({ sensorId, description }) => {
    if (description) placements.set(sensorId, decodeSensorDescription(description).placement);
  });
  pair.notifications.subscribe((packet) => packets.push(packet));
  pair.open(wanted === 'any' ? 'any' : [ids[1] as string]);
  clock.advance(6);
  return { pair, ids, placements, packets };
}

test('one shooter with a sensor in the ball and one on the arm, both in the order of time', async () => {
  const { pair, ids, placements, packets } = play(2, 'any');
  expect(ids).toHaveLength(2);
  expect(placements.get(ids[0] as string)).toBe('ball');
  expect(placements.get(ids[1] as string)).toMatch(/^(wrist-forearm|back-of-hand)$/);
  for (const id of ids) {
    const own = packets.filter(({ sensorId }) => sensorId === id);
    expect(own.length).toBeGreaterThan(150);
    expect(decodeNotification(own[0]?.bytes as Uint8Array).kind).toBe('frame');
  }
  const times = packets.map(({ hostTimeS }) => hostTimeS);
  expect(times).toEqual([...times].sort((a, b) => a - b));
  await expect(pair.identify(ids[1] as string)).rejects.toMatchObject({ code: 'sensor-cannot-identify' });
  const ended: string[] = [];
  pair.states.subscribe(({ sensorId, state }) => ended.push(`${sensorId} ${state}`));
  await pair.close();
  expect(ended).toEqual(ids.map((id) => `${id} ended`));
});

test('the same seed gives the same, and only what is wanted is heard', () => {
  expect(play(5, 'any').packets).toEqual(play(5, 'any').packets);
  const { ids, packets } = play(5, 'arm');
  expect(new Set(packets.map(({ sensorId }) => sensorId))).toEqual(new Set([ids[1]]));
});
