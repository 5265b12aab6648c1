import { filter, firstValueFrom } from 'rxjs';
import { describe, expect, test } from 'vitest';
import type { GattSession, Radio, RadioState, Sighting } from '../../../src/devices/radio.ts';
import { sensorCharacteristics, sensorServiceUuid } from '../../../src/protocol/gatt-layout.ts';
import { encodeNotification } from '../../../src/protocol/notification.ts';
import { plainStream, streamFrame } from '../../protocol/made-frames.ts';
import { VirtualController } from '../../tools/virtual-radio/virtual-controller.ts';
import { VirtualSensor } from '../../tools/virtual-radio/virtual-sensor.ts';
import { folder, radioOver } from './in-process.ts';

const { stream, description } = sensorCharacteristics;

async function ready(radio: Radio): Promise<RadioState> {
  radio.start();
  return firstValueFrom(radio.states.pipe(filter(({ state }) => state !== 'starting')));
}

async function find(radio: Radio, name: string): Promise<Sighting> {
  const seen = firstValueFrom(radio.sightings.pipe(filter((sighting) => sighting.name === name)));
  radio.scan(true);
  return seen;
}

async function connected(radio: Radio, sensor: VirtualSensor): Promise<GattSession> {
  await ready(radio);
  const { radioId } = await find(radio, sensor.peripheral.name);
  return radio.connect(radioId);
}

describe.skipIf(folder === null)('noble over the virtual controller (skipped: no noble where this is skipped)', () => {
  for (const mtu of [247, 23]) {
    for (const aclBytes of [27, 251]) {
      for (const delivery of ['one', 'batch'] as const) {
        const many = (mtu === 247 && aclBytes === 251) || (mtu === 23 && aclBytes === 27);
        const count0 = many ? 20_000 : 2_000;
        test(`${count0} notifications, MTU ${mtu}, ACL ${aclBytes}, ${delivery} a callback; drop, reconnect, go on`, async () => {
          const controller = new VirtualController({ aclBytes });
          const sensor = new VirtualSensor({ number: 1, mtu });
          controller.add(sensor.peripheral);
          const { radio } = radioOver(controller, {}, delivery);
          const shape = mtu === 23 ? { ...plainStream, form: 'short' as const } : { ...plainStream, rows: 19 };
          const received: Uint8Array[] = [];
          for (const round of [0, 1]) {
            const session = await connected(radio, sensor);
            expect(await session.read(description)).toEqual(sensor.descriptionBytes);
            await session.subscribe(stream, (bytes) => received.push(bytes));
            const count = round === 0 ? count0 : 500;
            for (let at = 0; at < count; at++) {
              sensor.send(encodeNotification(streamFrame(shape, at)));
              if (at % 100 === 99) await new Promise((resolve) => setImmediate(resolve));
            }
            while (received.length < count) await new Promise((resolve) => setTimeout(resolve, 5));
            const wrong = received.findIndex(
              (bytes, at) => !Buffer.from(bytes).equals(encodeNotification(streamFrame(shape, at))),
            );
            expect(wrong).toBe(-1);
            expect(received).toHaveLength(count);
            received.length = 0;
            sensor.peripheral.drop();
            expect(await session.ended).toContain('out of reach');
          }
          expect(sensor.peripheral.connectionCount).toBe(2);
          await radio.close();
        });
      }
    }
  }

  test('sees name, services and strength, and asks for the connection it needs', async () => {
    const controller = new VirtualController();
    const sensor = new VirtualSensor({ number: 2 });
    controller.add(sensor.peripheral);
    const { radio } = radioOver(controller);
    expect(await ready(radio)).toEqual({ state: 'ready' });
    const sighting = await find(radio, 'IMU-0002');
    expect(sighting).toMatchObject({ serviceUuids: [sensorServiceUuid], rssiDbm: -55, connectable: true });
    const session = await radio.connect(sighting.radioId);
    expect(sensor.peripheral.lastParameters).toEqual({ minInterval: 6, maxInterval: 12, timeout: 300 });
    expect(session.characteristics).toContainEqual({ ...stream, properties: ['notify'] });
    expect(session.characteristics).toContainEqual({
      service: '180f',
      characteristic: '2a19',
      properties: ['read', 'notify'],
    });
    await session.disconnect();
    await radio.close();
  });
});
