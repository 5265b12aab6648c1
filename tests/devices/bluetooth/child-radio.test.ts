import process from 'node:process';
import { afterEach, describe, expect, test } from 'vitest';
import { createBluetoothSensors } from '../../../src/devices/bluetooth-sensors.ts';
import { systemClock } from '../../../src/devices/system-clock.ts';
import { encodeNotification } from '../../../src/protocol/notification.ts';
import { plainStream, streamFrame } from '../../protocol/made-frames.ts';
import { spareNobleFolder } from '../../tools/virtual-radio/test-noble.ts';
import type { VirtualSensor } from '../../tools/virtual-radio/virtual-sensor.ts';
import { folder } from './in-process.ts';
import { type ChildAir, type ChildAirOptions, childAir } from './through-child.ts';
import { watch } from './watched.ts';

let airs: ChildAir[] = [];
afterEach(async () => {
  for (const air of airs) await air.close();
  airs = [];
});

async function open(options: ChildAirOptions): Promise<ChildAir> {
  const air = await childAir(options);
  airs.push(air);
  return air;
}

function countOf({ seen }: ChildAir, sensor: VirtualSensor): number {
  return seen.packets.filter(({ sensorId }) => sensorId === sensor.sensorId).length;
}

describe.skipIf(folder === null)('the radio in its own process', () => {
  test.each([247, 23])('scan, connect, MTU %i, describe, subscribe, 20,000 notifications, drop, go on', async (mtu) => {
    const air = await open({ sensors: [{ number: 1, mtu }], streaming: false });
    const sensor = air.sensors[0]!;
    const shape = mtu === 23 ? { ...plainStream, form: 'short' as const } : { ...plainStream, rows: 19 };
    const sent: Uint8Array[] = [];
    const sendAll = async (count: number): Promise<void> => {
      for (let at = 0; at < count; at++) {
        const bytes = encodeNotification(streamFrame(shape, at));
        expect(sensor.send(bytes)).toBe(true);
        sent.push(bytes);
        // No faster than a host that reads can take them.
        if (at % 20 === 19) await air.seen.until('the host to read', () => sent.length - air.seen.packets.length < 40);
      }
      await air.seen.until('the last one', () => air.seen.packets.length === sent.length);
    };
    air.provider.open('any');
    await air.seen.until('the start', () => sensor.startCount === 1);
    await sendAll(20_000);
    sensor.peripheral.drop();
    await air.seen.until('the second start', () => sensor.startCount === 2);
    await sendAll(500);
    expect(air.server.lostPackets()).toBe(0);
    const wrong = air.seen.packets.findIndex(({ bytes }, at) => !Buffer.from(bytes).equals(sent[at]!));
    expect(wrong).toBe(-1);
    const hostTimesS = air.seen.packets.map(({ hostTimeS }) => hostTimeS);
    expect(hostTimesS.every((timeS, at) => at === 0 || timeS >= hostTimesS[at - 1]! - 1e-4)).toBe(true);
    expect(Math.abs(hostTimesS.at(-1)! - Date.now() / 1000)).toBeLessThan(30);
    expect(air.warnings).toEqual([]);
  });

  test.each([2, 8])('%i sensors at once', async (count) => {
    const air = await open({ sensors: Array.from({ length: count }, (_, at) => ({ number: at + 1 })) });
    air.provider.open('any');
    await air.seen.until('all streams', () => air.sensors.every((sensor) => countOf(air, sensor) > 50));
    expect(air.server.lostPackets()).toBe(0);
    expect(air.seen.states.filter(({ state }) => state === 'lost')).toEqual([]);
  });

  test('kill -9 in the middle of a stream: the loss is told with its length, and the stream goes on', async () => {
    const air = await open({ sensors: [{ number: 1 }, { number: 2 }] });
    air.provider.open('any');
    await air.seen.until('both stream', () => air.sensors.every((sensor) => countOf(air, sensor) > 20));
    const first = air.radio.processId!;
    process.kill(first, 'SIGKILL');
    await air.seen.until('both again', () => air.sensors.every(({ startCount }) => startCount === 2));
    await air.seen.until('both told', () =>
      air.sensors.every(({ sensorId }) => air.seen.of(sensorId).at(-1) === 'streaming'),
    );
    expect(air.radio.processId).not.toBe(first);
    for (const { sensorId } of air.sensors) {
      const own = air.seen.states.filter((event) => event.sensorId === sensorId);
      const lost = own.find(({ state }) => state === 'lost');
      expect(lost?.detail).toBe('the process of the radio ended (SIGKILL)');
      const back = own.at(-1)!;
      expect(back.description).toBeNull();
      const times = air.seen.packets.filter((packet) => packet.sensorId === sensorId).map(({ hostTimeS }) => hostTimeS);
      const longestS = Math.max(...times.slice(1).map((timeS, at) => timeS - times[at]!));
      expect(back.silentS).toBeCloseTo(longestS, 6);
    }
  });

  test('a process that is frozen is replaced; one that thaws in time goes on', async () => {
    const air = await open({
      ...{ sensors: [{ number: 1 }], silentLimitS: 10 },
      // Of the two it is the process whose silence is judged here.
      sensorTimes: { quietS: 60, giveUpS: 90 },
    });
    const sensor = air.sensors[0]!;
    air.provider.open('any');
    await air.seen.until('streaming', () => countOf(air, sensor) > 20);
    const first = air.radio.processId!;
    process.kill(first, 'SIGSTOP');
    await new Promise((resolve) => setTimeout(resolve, 1200));
    process.kill(first, 'SIGCONT');
    const before = countOf(air, sensor);
    await air.seen.until('it goes on', () => countOf(air, sensor) > before + 20);
    expect(air.radio.processId).toBe(first);
    expect(sensor.startCount).toBe(1);
    process.kill(first, 'SIGSTOP');
    await air.seen.until('the second start', () => sensor.startCount === 2);
    await air.seen.until('streaming', () => air.seen.of(sensor.sensorId).at(-1) === 'streaming');
    expect(air.radio.processId).not.toBe(first);
    expect(air.seen.states.find(({ state }) => state === 'lost')?.detail).toMatch(/did not answer for \d+ s$/);
    expect(air.seen.states.at(-1)?.silentS).toBeGreaterThan(10);
  });

  test('garbage from the adapter: packets that cannot be read are passed over, and the stream goes on', async () => {
    const air = await open({ sensors: [{ number: 1 }] });
    const sensor = air.sensors[0]!;
    air.provider.open('any');
    await air.seen.until('streaming', () => countOf(air, sensor) > 20);
    const first = air.radio.processId;
    for (const hex of ['04', '040e', '043e', '02', '0240', '0400ff', '043e0402ff00', '044f', 'ff', '0440']) {
      air.server.inject(Buffer.from(hex, 'hex'));
    }
    const handle = air.controller.handleOf(sensor.peripheral);
    // A notification without a handle, a fragment without a beginning, a fragment that never ends.
    air.server.inject(Uint8Array.of(0x02, handle, 0x20, 5, 0, 1, 0, 4, 0, 0x1b));
    air.server.inject(Uint8Array.of(0x02, handle, 0x10, 2, 0, 9, 9));
    const before = countOf(air, sensor);
    await air.seen.until('it goes on', () => countOf(air, sensor) > before + 50);
    expect(air.radio.processId).toBe(first);
    expect(air.warnings.some((warning) => warning.includes('could not be read'))).toBe(true);
  });

  test('garbage without end: the process is replaced, and the stream comes back', async () => {
    const air = await open({ sensors: [{ number: 1 }] });
    const sensor = air.sensors[0]!;
    air.provider.open('any');
    await air.seen.until('streaming', () => countOf(air, sensor) > 20);
    for (let at = 0; at < 60; at++) air.server.inject(Uint8Array.of(0x04, 0x0e));
    await air.seen.until('the second start', () => sensor.startCount === 2);
    await air.seen.until('streaming', () => air.seen.of(sensor.sensorId).at(-1) === 'streaming');
    expect(air.seen.states.at(-1)?.silentS).toBeGreaterThan(0);
  });

  test('an adapter that is pulled in the middle of a stream and comes back', async () => {
    const air = await open({ sensors: [{ number: 1 }] });
    const sensor = air.sensors[0]!;
    air.provider.open([sensor.sensorId]);
    await air.seen.until('streaming', () => countOf(air, sensor) > 5);
    air.controller.switchOff();
    await air.seen.until('unavailable', () => air.seen.of(sensor.sensorId).at(-1) === 'unavailable');
    expect(air.seen.states.at(-1)).toMatchObject({
      detail: 'Bluetooth is not available here: the adapter is switched off.',
      remedy: expect.stringContaining(process.platform === 'linux' ? 'rfkill unblock bluetooth' : 'Settings'),
    });
    await new Promise((resolve) => setTimeout(resolve, 1500));
    air.controller.switchOn();
    await air.seen.until(
      'streaming again',
      () => sensor.startCount === 2 && air.seen.of(sensor.sensorId).at(-1) === 'streaming',
    );
  });

  test('a missing permission is told with its remedy, once', async () => {
    const air = await open({ sensors: [], error: 'EPERM' });
    air.provider.open(['f00d'.repeat(8)]);
    await air.seen.until('unavailable', () => air.seen.providerStates.at(-1)?.state === 'unavailable');
    expect(air.seen.providerStates.at(-1)).toMatchObject({
      reason: 'permission-missing',
      detail: 'Bluetooth is not available here: this program may not use the adapter.',
      remedy: expect.stringContaining('setcap cap_net_raw,cap_net_admin+eip'),
    });
    expect(air.seen.states.map(({ state }) => state)).toEqual(['searching', 'unavailable']);
  });

  test('a device that cannot be connected holds up nobody', async () => {
    const air = await open({ sensors: [{ number: 1 }, { number: 2 }], times: { connectMs: 1000, disconnectMs: 500 } });
    const [ghost, good] = air.sensors as [VirtualSensor, VirtualSensor];
    ghost.peripheral.ignoresConnect = true;
    air.provider.open('any');
    await air.seen.until('the good one', () => countOf(air, good) > 300);
    expect(ghost.startCount).toBe(0);
    ghost.peripheral.ignoresConnect = false;
    await air.seen.until('the other', () => countOf(air, ghost) > 5);
  });

  test('an adapter that cannot end an attempt to connect gets a new process', async () => {
    const air = await open({ sensors: [{ number: 1 }], times: { connectMs: 600, disconnectMs: 300 } });
    const sensor = air.sensors[0]!;
    sensor.peripheral.ignoresConnect = true;
    air.controller.neverEndsConnect = true;
    air.provider.open('any');
    await air.seen.until('the word', () => air.warnings.some((warning) => warning.includes('did not end an attempt')));
    sensor.peripheral.ignoresConnect = false;
    await air.seen.until('streaming', () => countOf(air, sensor) > 5);
  });

  test.skipIf(spareNobleFolder('@stoprocent/noble') === null)(
    'the other package, chosen by configuration, does the same (skipped where it cannot be installed)',
    async () => {
      const air = await open({ sensors: [{ number: 1 }, { number: 2, mtu: 23 }], moduleName: '@stoprocent/noble' });
      air.provider.open('any');
      await air.seen.until('both streams', () => air.sensors.every((sensor) => countOf(air, sensor) > 50));
      air.sensors[0]!.peripheral.drop();
      await air.seen.until('the second start', () => air.sensors[0]!.startCount === 2);
      expect(air.server.lostPackets()).toBe(0);
    },
  );
});

test('a package that is not installed is told in one sentence, and nothing is tried again', async () => {
  const provider = createBluetoothSensors({ clock: systemClock, moduleName: '@stoprocent/noble' });
  const seen = watch(provider);
  provider.open('any');
  await seen.until('the word', () => seen.providerStates.at(-1)?.state === 'unavailable');
  expect(seen.providerStates.at(-1)).toMatchObject({
    reason: 'no-package',
    detail: 'Bluetooth is not available here: the optional package @stoprocent/noble is not installed.',
    remedy: expect.stringContaining('npm install'),
  });
  await provider.close();
  expect(seen.providerStates.at(-1)?.state).toBe('closed');
});
