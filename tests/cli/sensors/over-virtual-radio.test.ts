import { tmpdir } from 'node:os';
import path from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { ChildRadio } from '../../../src/devices/bluetooth/child-radio.ts';
import { systemClock } from '../../../src/devices/system-clock.ts';
import { clauses } from '../../../src/protocol/conformity/judge.ts';
import { folder } from '../../devices/bluetooth/in-process.ts';
import { FakeSensor } from '../../helpers/fake-sensor.ts';
import { ballDescription } from '../../protocol/made-frames.ts';
import { type RadioServer, serveRadio } from '../../tools/virtual-radio/radio-server.ts';
import { VirtualController } from '../../tools/virtual-radio/virtual-controller.ts';
import type { VirtualCharacteristic, VirtualService } from '../../tools/virtual-radio/virtual-gatt.ts';
import { VirtualPeripheral } from '../../tools/virtual-radio/virtual-peripheral.ts';
import { runCli } from '../run-cli.ts';

const radioId = 'c0:00:00:00:00:07';

/** Puts a made-up sensor behind the attribute server of a virtual peripheral. */
function onTheAir(sensor: FakeSensor, mtu: number): VirtualPeripheral {
  const services = new Map<string, VirtualCharacteristic[]>();
  for (const ref of sensor.characteristics) {
    const all = services.get(ref.service) ?? [];
    services.set(ref.service, all);
    all.push({
      uuid: ref.characteristic,
      properties: ref.properties as VirtualCharacteristic['properties'],
      read: () => sensor.read(ref),
      write: (bytes) => sensor.write(ref, bytes),
      subscribed: (on) => sensor.subscribe(ref, on ? (bytes) => peripheral.notify(ref.characteristic, bytes) : null),
    });
  }
  const made: VirtualService[] = [...services].map(([uuid, characteristics]) => ({ uuid, characteristics }));
  const peripheral = new VirtualPeripheral({ address: radioId, name: 'IMU-3F0A', mtu, services: made });
  peripheral.onLink = (up) => void sensor.connected(up);
  return peripheral;
}

const skipped = folder === null ? ' (skipped: noble cannot be had)' : '';

describe.skipIf(folder === null)(`commands through noble in its process${skipped}`, () => {
  let server: RadioServer;
  const controller = new VirtualController({ aclBytes: 251 });
  const around = {
    openRadio: () => new ChildRadio({ clock: systemClock, execArgv: server.execArgv }),
    readConfig: () => ({ port: 0, dataFolder: path.join(tmpdir(), 'seamwise-no-such-folder'), pageFolder: '' }),
    untilEndIsAsked: () => new Promise<void>(() => {}),
    widthColumns: 160,
  };
  beforeAll(async () => {
    controller.add(onTheAir(new FakeSensor(systemClock), 247));
    server = await serveRadio(controller, {});
  });
  afterAll(() => server.close());

  it('sensors lists it with its id', async () => {
    const { code, stdout } = await runCli(['sensors', '--seconds', '5', '--json'], around);
    expect(code).toBe(0);
    expect(JSON.parse(stdout).devices).toMatchObject([{ name: 'IMU-3F0A', sensorId: ballDescription.sensorId }]);
  });

  it('sensors try streams from it', async () => {
    const { code, stdout } = await runCli(['sensors', 'try', radioId, '--seconds', '3', '--json'], around);
    expect(code).toBe(0);
    const report = JSON.parse(stdout);
    expect(report.gapCount).toBe(0);
    expect(report.samples).toBeGreaterThan(400);
    expect(report.rest.forceMps2).toBeCloseTo(9.81, 1);
  });

  it('sensors conform finds nothing against it', async () => {
    const { code, stdout } = await runCli(['sensors', 'conform', radioId, '--json'], around);
    const results: { clause: string; outcome: string; seen: string }[] = JSON.parse(stdout).results;
    expect(results.filter(({ outcome }) => outcome !== 'pass')).toEqual([]);
    expect(results).toHaveLength(clauses.length);
    expect(code).toBe(0);
  });
});
