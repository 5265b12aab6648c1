import { mkdirSync, readFileSync, statSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { beforeEach, expect, test } from 'vitest';
import { PairedDevices, pairedDevicesFile } from '../../../src/server/access/paired-devices.ts';
import { ManualClock } from '../../devices/manual-clock.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';

let made = '';
const folder = (): string => made;

beforeEach(() => {
  made = temporaryFolder();
});

test('a device comes in by its token, in the next run too, and not after it was removed', async () => {
  const clock = new ManualClock();
  const devices = await PairedDevices.open(folder(), clock);
  const { device, token } = await devices.add('phone', 'player');
  expect(devices.find(token)).toEqual(device);
  expect(devices.find(`${token}x`)).toBeNull();
  expect(devices.find('')).toBeNull();
  const next = await PairedDevices.open(folder(), clock);
  expect(next.find(token)).toEqual(device);
  expect(await next.remove(device.id)).toBe(true);
  expect(await next.remove(device.id)).toBe(false);
  expect(next.find(token)).toBeNull();
  expect((await PairedDevices.open(folder(), clock)).list()).toEqual([]);
});

test('the file has no token in it and is for its owner alone', async () => {
  const devices = await PairedDevices.open(folder(), new ManualClock());
  const { token } = await devices.add('phone', 'viewer');
  const file = path.join(folder(), pairedDevicesFile);
  expect(readFileSync(file, 'utf8')).not.toContain(token);
  if (process.platform !== 'win32') expect(statSync(file).mode & 0o777).toBe(0o600);
});

test('names of strangers lose what a page or terminal could stumble over', async () => {
  const devices = await PairedDevices.open(folder(), new ManualClock());
  await devices.add(' \u001b[31m<b>red</b>\u202e\n ', 'viewer');
  await devices.add('\u0000', 'viewer');
  expect(devices.list().map(({ name }) => name)).toEqual(['[31m<b>red</b>', 'unnamed device']);
});

test('when a device was last seen is kept to the hour', async () => {
  const clock = new ManualClock();
  const devices = await PairedDevices.open(folder(), clock);
  const { device, token } = await devices.add('phone', 'viewer');
  clock.advance(3500);
  devices.find(token);
  expect(devices.list()[0]?.seenAtS).toBe(device.pairedAtS);
  clock.advance(200);
  devices.find(token);
  expect(devices.list()[0]?.seenAtS).toBe(device.pairedAtS + 3700);
  // Behind the word of when it was seen, in the same queue.
  await devices.remove(device.id);
});

test.each(['{', '[]', '{"schemaVersion":2,"devices":[]}', '{"schemaVersion":1,"devices":[{"id":"x"}]}'])(
  'a file that holds %s lets nobody in and stays as it is',
  async (text) => {
    const file = path.join(folder(), pairedDevicesFile);
    writeFileSync(file, text);
    await expect(PairedDevices.open(folder(), new ManualClock())).rejects.toMatchObject({
      code: 'paired-devices-damaged',
    });
    expect(readFileSync(file, 'utf8')).toBe(text);
  },
);

test('a list that cannot be written is told, and a removed device is out all the same', async () => {
  const devices = await PairedDevices.open(folder(), new ManualClock());
  const { device, token } = await devices.add('phone', 'viewer');
  // A folder in the place of the new file: stops root too.
  mkdirSync(path.join(folder(), `${pairedDevicesFile}.new`));
  await expect(devices.remove(device.id)).rejects.toMatchObject({ code: 'paired-devices-not-written' });
  expect(devices.find(token)).toBeNull();
});

test('more devices than any gym has are refused', async () => {
  const devices = await PairedDevices.open(folder(), new ManualClock());
  for (let count = 0; count < 200; count++) await devices.add(`device ${count}`, 'viewer');
  await expect(devices.add('one more', 'viewer')).rejects.toMatchObject({ code: 'paired-devices-full' });
});
