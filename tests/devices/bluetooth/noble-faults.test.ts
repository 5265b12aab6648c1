import { filter, firstValueFrom } from 'rxjs';
import { afterEach, describe, expect, test } from 'vitest';
import type { RadioTimes } from '../../../src/devices/bluetooth/noble-radio.ts';
import type { GattSession, Radio } from '../../../src/devices/radio.ts';
import { readInformation } from '../../../src/devices/read-information.ts';
import { sensorCharacteristics, sensorServiceUuid } from '../../../src/protocol/gatt-layout.ts';
import { VirtualController } from '../../tools/virtual-radio/virtual-controller.ts';
import type { VirtualService } from '../../tools/virtual-radio/virtual-gatt.ts';
import type { AttFate } from '../../tools/virtual-radio/virtual-peripheral.ts';
import { VirtualSensor, type VirtualSensorOptions } from '../../tools/virtual-radio/virtual-sensor.ts';
import { folder, radioOver } from './in-process.ts';

const { stream, description, control } = sensorCharacteristics;
/** Shorter than in use, so that the tests are, and much longer than a busy machine stands still. */
const times: Partial<RadioTimes> = {
  connectMs: 2000,
  operationMs: 2000,
  disconnectMs: 1000,
  sightingMs: 20,
  adapterMs: 2000,
};

/** Opcodes of the attribute protocol, Core Specification Vol 3 Part F, 3.4.8. */
const att = { mtu: 0x02, readByType: 0x08, read: 0x0a, readByGroup: 0x10, write: 0x12 } as const;

let open: Radio[] = [];
afterEach(async () => {
  for (const radio of open) await radio.close();
  open = [];
});

interface Bench {
  readonly controller: VirtualController;
  readonly sensor: VirtualSensor;
  readonly radio: Radio;
  readonly broken: string[];
  connect(): Promise<GattSession>;
}

async function bench(options: Partial<VirtualSensorOptions> = {}): Promise<Bench> {
  const controller = new VirtualController();
  const sensor = new VirtualSensor({ number: 1, ...options });
  controller.add(sensor.peripheral);
  const { radio, broken } = radioOver(controller, times);
  open.push(radio);
  radio.start();
  await firstValueFrom(radio.states.pipe(filter(({ state }) => state === 'ready')));
  const connect = async (): Promise<GattSession> => {
    radio.scan(true);
    const sighting = await firstValueFrom(radio.sightings.pipe(filter(({ name }) => name === 'IMU-0001')));
    return radio.connect(sighting.radioId);
  };
  return { controller, sensor, radio, broken, connect };
}

/** Lets the first requests of one kind meet another fate. */
function fateOf(opcode: number, fate: AttFate, count = 1): (code: number) => AttFate {
  let left = count;
  return (code) => {
    if (code !== opcode || left === 0) return 'answer';
    left -= 1;
    return fate;
  };
}

describe.skipIf(folder === null)('what hangs or breaks in noble ends here in time', () => {
  test('a device that vanished before the connection, and comes back', async () => {
    const { sensor, connect, broken } = await bench();
    sensor.peripheral.ignoresConnect = true;
    await expect(connect()).rejects.toMatchObject({ code: 'timeout', message: 'no connection within 2 s' });
    sensor.peripheral.ignoresConnect = false;
    await new Promise((resolve) => setTimeout(resolve, 50));
    const session = await connect();
    expect(await session.read(description)).toEqual(sensor.descriptionBytes);
    expect(broken).toEqual([]);
  });

  test('an adapter that does not end the attempt: only a new process helps', async () => {
    const { controller, sensor, connect, broken } = await bench();
    sensor.peripheral.ignoresConnect = true;
    controller.neverEndsConnect = true;
    await expect(connect()).rejects.toMatchObject({ code: 'timeout' });
    await expect.poll(() => broken).toEqual(['the adapter did not end an attempt to connect']);
  });

  test.each([
    ['services', att.readByGroup],
    ['characteristics', att.readByType],
  ])('a drop while %s are searched for', async (_what, opcode) => {
    const { sensor, connect } = await bench();
    sensor.peripheral.attFate = fateOf(opcode, 'drop');
    await expect(connect()).rejects.toMatchObject({ code: 'link-lost' });
    const session = await connect();
    expect(session.characteristics.length).toBeGreaterThan(4);
  });

  test.each([
    ['the MTU exchange', att.mtu],
    ['the search for services', att.readByGroup],
    ['the search for characteristics', att.readByType],
  ])('%s that is never answered', async (_what, opcode) => {
    const { sensor, connect } = await bench();
    sensor.peripheral.attFate = fateOf(opcode, 'ignore');
    await expect(connect()).rejects.toMatchObject({ code: 'timeout' });
    expect(sensor.peripheral.link).toBeNull();
    const session = await connect();
    expect(session.characteristics.length).toBeGreaterThan(4);
  });

  test('a slow search', async () => {
    const { sensor, connect } = await bench();
    sensor.peripheral.attFate = (opcode) => (opcode === att.readByGroup || opcode === att.readByType ? 100 : 'answer');
    const session = await connect();
    expect(session.characteristics).toContainEqual({ ...stream, properties: ['notify'] });
  });

  test('a device with no services at all', async () => {
    const { sensor, connect } = await bench({ services: () => [] });
    Object.assign(sensor.peripheral, { advertisedUuids: [sensorServiceUuid] });
    const session = await connect();
    expect(session.characteristics).toEqual([]);
    await expect(session.read(description)).rejects.toMatchObject({
      code: 'not-found',
      message: expect.stringContaining(`it has no service ${sensorServiceUuid}`),
    });
  });

  test('a service that lacks a characteristic', async () => {
    const without = (all: readonly VirtualService[]): VirtualService[] =>
      all.map(({ uuid, characteristics }) => ({
        uuid,
        characteristics: characteristics.filter((other) => other.uuid !== description.characteristic),
      }));
    const { connect } = await bench({ services: without });
    const session = await connect();
    await expect(session.read(description)).rejects.toMatchObject({
      code: 'not-found',
      message: expect.stringContaining(`has no characteristic ${description.characteristic}`),
    });
  });

  test('a subscription without a descriptor', async () => {
    const without = (all: readonly VirtualService[]): VirtualService[] =>
      all.map(({ uuid, characteristics }) => ({
        uuid,
        characteristics: characteristics.map((other) => ({ ...other, ccc: false })),
      }));
    const { connect } = await bench({ services: without });
    const session = await connect();
    await expect(session.subscribe(stream, () => {})).rejects.toMatchObject({
      code: 'timeout',
      message: expect.stringContaining('0x2902'),
    });
    expect(await session.ended).toContain('this side');
  });

  test.each(['read', 'write', 'subscribe', 'unsubscribe'] as const)('a drop during %s', async (what) => {
    const { sensor, connect } = await bench();
    const session = await connect();
    if (what === 'unsubscribe') await session.subscribe(stream, () => {});
    const opcode = what === 'read' ? att.read : what === 'write' ? att.write : att.readByType;
    sensor.peripheral.attFate = fateOf(opcode, 'drop');
    const running = {
      read: () => session.read(description),
      write: () => session.write(control, Uint8Array.of(1, 2, 3, 4)),
      subscribe: () => session.subscribe(stream, () => {}),
      unsubscribe: () => session.unsubscribe(stream),
    }[what]();
    await expect(running).rejects.toMatchObject({ code: 'link-lost' });
    expect(await session.ended).toContain('out of reach');
    await session.disconnect();
    await expect(session.read(description)).rejects.toMatchObject({ code: 'link-lost' });
  });

  test('a request that is never answered ends the connection, since nothing can follow it', async () => {
    const { sensor, connect } = await bench();
    const session = await connect();
    sensor.peripheral.attFate = fateOf(att.read, 'ignore');
    await expect(session.read(description)).rejects.toMatchObject({ code: 'timeout' });
    await session.ended;
    expect(sensor.peripheral.link).toBeNull();
  });

  test('a second end of a connection that has ended', async () => {
    const { sensor, connect } = await bench();
    const session = await connect();
    sensor.peripheral.drop(0x13);
    expect(await session.ended).toBe('the sensor ended the connection');
    await session.disconnect();
    await session.disconnect();
  });

  test('the old characteristic is deaf after a reconnect, the new one hears', async () => {
    const { sensor, connect } = await bench();
    const old: Uint8Array[] = [];
    const fresh: Uint8Array[] = [];
    await (await connect()).subscribe(stream, (bytes) => old.push(bytes));
    sensor.send(Uint8Array.of(1));
    sensor.peripheral.drop();
    await (await connect()).subscribe(stream, (bytes) => fresh.push(bytes));
    sensor.send(Uint8Array.of(2));
    while (fresh.length === 0) await new Promise((resolve) => setTimeout(resolve, 5));
    expect([old, fresh]).toEqual([[Uint8Array.of(1)], [Uint8Array.of(2)]]);
  });

  test('notifications that come before the subscription is confirmed are not lost', async () => {
    const { sensor, connect } = await bench();
    const session = await connect();
    const seen: Uint8Array[] = [];
    sensor.onStream = (on) => {
      if (on) for (let at = 0; at < 5; at++) sensor.send(Uint8Array.of(at));
    };
    await session.subscribe(stream, (bytes) => seen.push(bytes));
    expect(seen).toHaveLength(5);
  });

  test('a device without battery, and one that says more than is possible', async () => {
    const { connect } = await bench({ batteryPercent: null });
    expect(await readInformation(await connect())).toMatchObject({ batteryPercent: null, model: 'ball, 833 Hz' });
    const full = await bench({ batteryPercent: 200 });
    expect(await readInformation(await full.connect())).toMatchObject({ batteryPercent: null });
  });

  test('an adapter that is off from the start, and one that never says anything', async () => {
    const controller = new VirtualController();
    controller.switchOff();
    const { radio } = radioOver(controller, times);
    open.push(radio);
    radio.start();
    const state = await firstValueFrom(radio.states.pipe(filter(({ state: name }) => name !== 'starting')));
    expect(state).toMatchObject({ state: 'unavailable', reason: 'adapter-off' });
    const mute = new VirtualController();
    mute.receive = () => {};
    const { radio: waiting } = radioOver(mute, times);
    open.push(waiting);
    waiting.start();
    const told = await firstValueFrom(waiting.states.pipe(filter(({ state: name }) => name !== 'starting')));
    expect(told).toMatchObject({ state: 'unavailable', reason: 'no-adapter' });
  });
});
