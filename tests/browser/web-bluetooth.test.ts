/**
 * The page's own way to a sensor, in Chromium with the browser's emulation of Bluetooth (its debugging protocol,
 * domains BluetoothEmulation and DeviceAccess): the chooser, the connection, the search, the description, the
 * subscription, the drop and the reconnect are the browser's. The emulation has no notifications. In their place the
 * test reads the subscribed characteristic: the browser gives the answer to the page in the same event.
 */
import { Buffer } from 'node:buffer';
import { mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import type { Browser, CDPSession, Page } from 'playwright-core';
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, test } from 'vitest';
import { BrowserSensors } from '../../src/devices/browser-sensors.ts';
import { systemClock } from '../../src/devices/system-clock.ts';
import { decodeControlRequest, encodeControlAnswer } from '../../src/protocol/control-message.ts';
import { sensorCharacteristics, sensorServiceUuid } from '../../src/protocol/gatt-layout.ts';
import { encodeNotification } from '../../src/protocol/notification.ts';
import { encodeSensorDescription } from '../../src/protocol/sensor-description.ts';
import { startService } from '../../src/server/service.ts';
import type { RunningService } from '../../src/server/service-options.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';
import { type Watched, watch } from '../devices/bluetooth/watched.ts';
import { chromiumPath, noBrowser } from '../helpers/chromium.ts';
import { freePort } from '../helpers/free-port.ts';
import { ballDescription, plainStream, streamFrame } from '../protocol/made-frames.ts';
import { type BuiltPage, buildPage } from './built-page.ts';
import { openBrowser } from './open-browser.ts';

const executablePath = chromiumPath();
const title = executablePath === null ? `a sensor by the browser (${noBrowser})` : 'a sensor by the browser';
const address = 'C0:00:00:00:00:01';
const { stream, description, control } = sensorCharacteristics;
const batteryService = '0000180f-0000-1000-8000-00805f9b34fb';
const batteryLevel = '00002a19-0000-1000-8000-00805f9b34fb';

interface Prompted {
  readonly id: string;
  readonly devices: readonly { readonly id: string }[];
}

interface Operation {
  readonly characteristicId: string;
  readonly type: string;
  readonly data?: string;
}

type Send = (method: string, words?: object) => Promise<Record<string, string>>;
type Listen = <T>(event: string, take: (words: T) => void) => void;

/** The types of the client library are older than these domains. */
function senderOf(session: CDPSession): Send {
  return session.send.bind(session) as unknown as Send;
}

function listenerOf(session: CDPSession): Listen {
  return session.on.bind(session) as unknown as Listen;
}

/** A sensor in the browser's emulated air. */
class EmulatedSensor {
  readonly #air: CDPSession;
  readonly #page: CDPSession;
  readonly #ids = new Map<string, string>();
  readonly #chosen = new Set<string>();
  /** The next answers to reads of the stream. */
  readonly packets: Uint8Array[] = [];
  subscriptions = 0;
  identified = 0;
  #answer: Uint8Array = new Uint8Array();

  private constructor(air: CDPSession, page: CDPSession) {
    this.#air = air;
    this.#page = page;
  }

  static async appear(browser: Browser, page: Page): Promise<EmulatedSensor> {
    const sensor = new EmulatedSensor(await browser.newBrowserCDPSession(), await page.context().newCDPSession(page));
    await sensor.#appear();
    return sensor;
  }

  async #appear(): Promise<void> {
    const call = senderOf(this.#air);
    const on = listenerOf(this.#air);
    await call('BluetoothEmulation.enable', { state: 'powered-on', leSupported: true });
    await senderOf(this.#page)('DeviceAccess.enable');
    listenerOf(this.#page)('DeviceAccess.deviceRequestPrompted', ({ id, devices }: Prompted) => {
      const [device] = devices;
      // Told once a change; a second choice for one question crashes the browser.
      if (!device || this.#chosen.has(id)) return;
      this.#chosen.add(id);
      void senderOf(this.#page)('DeviceAccess.selectPrompt', { id, deviceId: device.id });
    });
    on('BluetoothEmulation.gattOperationReceived', async ({ type }: { type: string }) => {
      if (type === 'connection') await this.#addServices();
      await call('BluetoothEmulation.simulateGATTOperationResponse', { address, type, code: 0 });
    });
    on('BluetoothEmulation.characteristicOperationReceived', (words: Operation) => {
      const { characteristicId, type } = words;
      const uuid = [...this.#ids].find(([, id]) => id === characteristicId)?.[0];
      const data = type === 'read' ? this.#read(uuid) : null;
      if (type === 'subscribe-to-notifications') this.subscriptions += 1;
      if (type === 'write' && uuid === control.characteristic) this.#take(Buffer.from(words.data ?? '', 'base64'));
      void call('BluetoothEmulation.simulateCharacteristicOperationResponse', {
        ...{ characteristicId, type, code: 0 },
        ...(data === null ? {} : { data: Buffer.from(data).toString('base64') }),
      });
    });
    const name = 'IMU-0001';
    const knownServiceUuids = [sensorServiceUuid, batteryService];
    await call('BluetoothEmulation.simulatePreconnectedPeripheral', {
      address,
      name,
      manufacturerData: [],
      knownServiceUuids,
    });
  }

  /** The emulation forgets a device's services with its connection. */
  async #addServices(): Promise<void> {
    const call = senderOf(this.#air);
    const own = await call('BluetoothEmulation.addService', { address, serviceUuid: sensorServiceUuid });
    const battery = await call('BluetoothEmulation.addService', { address, serviceUuid: batteryService });
    const add = async (
      serviceId: string | undefined,
      characteristicUuid: string,
      properties: object,
    ): Promise<void> => {
      const words = { serviceId, characteristicUuid, properties };
      const { characteristicId = '' } = await call('BluetoothEmulation.addCharacteristic', words);
      this.#ids.set(characteristicUuid, characteristicId);
    };
    await add(own.serviceId, stream.characteristic, { notify: true, read: true });
    await call('BluetoothEmulation.addDescriptor', {
      characteristicId: this.#ids.get(stream.characteristic),
      descriptorUuid: '00002902-0000-1000-8000-00805f9b34fb',
    });
    await add(own.serviceId, description.characteristic, { read: true });
    await add(own.serviceId, control.characteristic, { read: true, write: true });
    await add(battery.serviceId, batteryLevel, { read: true });
  }

  async vanish(): Promise<void> {
    await senderOf(this.#air)('BluetoothEmulation.disable');
  }

  async drop(): Promise<void> {
    await senderOf(this.#air)('BluetoothEmulation.simulateGATTDisconnection', { address });
  }

  #read(uuid: string | undefined): Uint8Array {
    if (uuid === description.characteristic) return encodeSensorDescription(ballDescription);
    if (uuid === control.characteristic) return this.#answer;
    if (uuid === batteryLevel) return Uint8Array.of(64);
    return this.packets.shift() ?? new Uint8Array();
  }

  #take(request: Uint8Array): void {
    const decoded = decodeControlRequest(request);
    if (decoded.kind !== 'request' || decoded.request.kind !== 'identify') return;
    this.identified += 1;
    const { accelRateHz: rateHz, accelRangeMps2, gyroRangeRadps, placement } = ballDescription;
    this.#answer = encodeControlAnswer({
      ...{ requestCode: request[1]!, requestNumber: decoded.requestNumber, status: 'done', state: 'streaming' },
      ...{ rateHz, accelRangeMps2, gyroRangeRadps, placement },
    });
  }
}

describe.skipIf(executablePath === null)(title, () => {
  let built: BuiltPage;
  let browser: Browser;
  let dataFolder = '';
  let service: RunningService;
  let source: BrowserSensors;
  let seen: Watched;
  let page: Page;
  let complaints: string[] = [];
  let sensor: EmulatedSensor | null = null;

  beforeAll(async () => {
    built = await buildPage();
    browser = await openBrowser('--enable-blink-features=WebBluetooth');
  });
  afterAll(async () => {
    await browser?.close();
    built?.remove();
  });

  beforeEach(async () => {
    dataFolder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-web-bluetooth-'));
    source = new BrowserSensors({ clock: systemClock });
    seen = watch(source);
    service = await startService({
      ...{ version: '1.2.3', port: await freePort(), dataFolder, pageFolder: built.folder, source, threadCount: 1 },
      settings: defaultBallSettings,
    });
    page = await browser.newPage();
    complaints = [];
    page.on('pageerror', (error) => complaints.push(error.message));
    // Where a subscription is remembered, so that the test can read its characteristic.
    await page.addInitScript(`
      const start = globalThis.BluetoothRemoteGATTCharacteristic?.prototype.startNotifications;
      if (start) BluetoothRemoteGATTCharacteristic.prototype.startNotifications = function () {
        globalThis.subscribed = this;
        return start.call(this);
      };
    `);
  });
  afterEach(async () => {
    await sensor?.vanish();
    sensor = null;
    await page.close();
    await service.close();
    rmSync(dataFolder, { recursive: true, force: true });
    expect(complaints).toEqual([]);
  });

  test('connect, describe, subscribe, stream, drop, reconnect, go on', async () => {
    sensor = await EmulatedSensor.appear(browser, page);
    const own = sensor;
    await page.goto(`${service.url.replace('127.0.0.1', 'localhost')}#live`, { waitUntil: 'networkidle' });
    expect(seen.providerStates.map(({ state }) => state)).toContain('unavailable');
    await seen.until('the page to be known', () => seen.providerStates.at(-1)?.state === 'searching');
    await page.locator('.connect-sensor').click();
    await seen.until('the subscription', () => own.subscriptions === 1);
    const sent: Uint8Array[] = [];
    const send = async (count: number): Promise<void> => {
      for (let at = 0; at < count; at++) {
        const bytes = encodeNotification(streamFrame({ ...plainStream, rows: 19 }, sent.length));
        sent.push(bytes);
        own.packets.push(bytes);
      }
      await page.evaluate(`(async () => { for (let at = 0; at < ${count}; at++) await subscribed.readValue(); })()`);
      await seen.until('the last packet', () => seen.packets.length === sent.length);
    };
    await send(60);
    await seen.until('information', () => seen.information.length > 0);
    expect(seen.information.at(-1)).toMatchObject({ batteryPercent: 64, name: 'IMU-0001' });
    await page.locator('[data-state=streaming]').waitFor();
    await source.identify(ballDescription.sensorId);
    expect(own.identified).toBe(1);

    await own.drop();
    await seen.until('the loss', () => seen.of(ballDescription.sensorId).includes('lost'));
    await seen.until('the second subscription', () => own.subscriptions === 2);
    await send(40);
    expect(seen.packets.map(({ bytes }) => Buffer.from(bytes).toString('hex'))).toEqual(
      sent.map((bytes) => Buffer.from(bytes).toString('hex')),
    );
    expect(seen.of(ballDescription.sensorId).filter((state) => state !== 'quiet')).toEqual([
      ...['connecting', 'streaming', 'lost', 'connecting', 'streaming'],
    ]);
    const starts = seen.states.filter(({ state, silentS }) => state === 'streaming' && (silentS ?? 9) > 0.3);
    expect(starts[0]?.description).toEqual(encodeSensorDescription(ballDescription));
    const times = seen.packets.map(({ hostTimeS }) => hostTimeS);
    expect(times.every((timeS, at) => at === 0 || timeS >= times[at - 1]!)).toBe(true);
    // Receipt in the page comes before receipt here, by little.
    expect(Math.abs(times.at(-1)! - systemClock.nowS())).toBeLessThan(30);
  });

  test('a service that was away is told again what the page holds', async () => {
    sensor = await EmulatedSensor.appear(browser, page);
    const own = sensor;
    await page.goto(`${service.url}#live`, { waitUntil: 'networkidle' });
    await page.locator('.connect-sensor').click();
    await seen.until('the subscription', () => own.subscriptions === 1);
    const port = Number(new URL(service.url).port);
    await service.close();
    source = new BrowserSensors({ clock: systemClock });
    seen = watch(source);
    service = await startService({
      ...{ version: '1.2.3', port, dataFolder, pageFolder: built.folder, source, threadCount: 1 },
      settings: defaultBallSettings,
    });
    await seen.until('the sensor', () => seen.of(ballDescription.sensorId).includes('connecting'));
    own.packets.push(encodeNotification(streamFrame(plainStream, 0)));
    await page.evaluate('subscribed.readValue()');
    await seen.until('its packet', () => seen.packets.length === 1);
    expect(own.subscriptions).toBe(1);
  });
});
