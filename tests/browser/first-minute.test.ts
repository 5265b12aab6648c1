/**
 * The first steps with a sensor of the air: from the radio's process (noble's own protocol stack against a virtual controller) through the
 * service to the page, which leads through the minute while somebody moves the sensor.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, test, vi } from 'vitest';
import { createBluetoothSensors } from '../../src/devices/bluetooth-sensors.ts';
import { systemClock } from '../../src/devices/system-clock.ts';
import { encodeNotification } from '../../src/protocol/notification.ts';
import { startService } from '../../src/server/service.ts';
import type { RunningService } from '../../src/server/service-options.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';
import type { Vec3 } from '../../src/signal/vec3.ts';
import { chromiumPath, noBrowser } from '../helpers/chromium.ts';
import { uniformFrom } from '../signal/simulated-sensor-clock.ts';
import { type RadioServer, serveRadio } from '../tools/virtual-radio/radio-server.ts';
import { nobleFolder } from '../tools/virtual-radio/test-noble.ts';
import { VirtualController } from '../tools/virtual-radio/virtual-controller.ts';
import { VirtualSensor } from '../tools/virtual-radio/virtual-sensor.ts';
import { type BuiltPage, buildPage } from './built-page.ts';
import { openBrowser } from './open-browser.ts';
import { axeFindings, cutOff } from './page-checks.ts';

const executablePath = chromiumPath();
const missing = executablePath === null ? noBrowser : nobleFolder() === null ? 'skipped: no radio package' : null;
const title =
  missing === null
    ? 'the first minute with a sensor of the air'
    : `the first minute with a sensor of the air (${missing})`;

const rateHz = 200;
const rowsPerPacket = 5;

/** What somebody does with the ball now: what its sensor reads at every sample until another act is begun. */
type Act = () => readonly [force: Vec3, rate: Vec3];
const g = 9.80665;
const lying: Act = () => [
  [0.1, 0, g],
  [0.01, 0, 0],
];
const spinning: Act = () => [
  [3, 0, g],
  [4 * Math.PI, 0, 0],
];
const inTheAir: Act = () => [
  [0.5, 0.6, 0.2],
  [1, 0, 0],
];
const held: Act = () => [
  [1, 2, 14],
  [1.2, 0, 0],
];

/** Tossed for 0.7 s of the sensor's own time, held for two, and tossed again: a toss with a gap in it does not count. */
function tossing(): Act {
  let row = 0;
  return () => (row++ % (2.7 * rateHz) < 0.7 * rateHz ? inTheAir() : held());
}

/** Lets a sensor send what it reads, in real time. @returns how to begin an act, and how to end all of it. */
function moveSensor(sensor: VirtualSensor): { readonly begin: (act: Act) => void; readonly stop: () => void } {
  const uniform = uniformFrom(5);
  const noise = (sd: number) => sd * Math.sqrt(-2 * Math.log(1 - uniform())) * Math.cos(2 * Math.PI * uniform());
  const { accelScaleMps2PerLsb, gyroScaleRadpsPerLsb } = sensor.description;
  let act = held;
  let packet = 0;
  const startMs = performance.now();
  const timer = setInterval(() => {
    for (; startMs + (1000 * rowsPerPacket * (packet + 1)) / rateHz <= performance.now(); packet++) {
      const rows = Array.from({ length: rowsPerPacket }, () => {
        const [force, rate] = act();
        return [
          ...force.map((value) => Math.round((value + noise(0.03)) / accelScaleMps2PerLsb)),
          ...rate.map((value) => Math.round((value + noise(0.0012)) / (gyroScaleRadpsPerLsb ?? 1))),
        ];
      });
      const index = packet * rowsPerPacket;
      sensor.send(
        encodeNotification({
          ...{
            form: 'full',
            startNumber: 1,
            sequence: packet % 65_536,
            tick: (index * 1e6) / rateHz,
            sampleIndex: index,
          },
          ...{ axes: 6, samples: Int16Array.from(rows.flat()) },
        }),
      );
    }
  }, 5);
  return {
    begin(next) {
      act = next;
    },
    stop: () => clearInterval(timer),
  };
}

describe.skipIf(missing !== null)(title, () => {
  let built: BuiltPage;
  let browser: Browser;
  let server: RadioServer;
  let service: RunningService;
  let sensor: VirtualSensor;
  let page: Page;
  let folder = '';
  let stop = (): void => {};

  beforeAll(async () => {
    built = await buildPage();
    browser = await openBrowser();
    folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-first-minute-'));
    const controller = new VirtualController({ aclBytes: 251 });
    sensor = new VirtualSensor({ number: 7, description: { accelRateHz: rateHz, gyroRateHz: rateHz } });
    controller.add(sensor.peripheral);
    server = await serveRadio(controller, { delivery: 'one' });
    service = await startService({
      ...{ version: '1.2.3', port: 0, dataFolder: folder, pageFolder: built.folder, settings: defaultBallSettings },
      source: createBluetoothSensors({ clock: systemClock, execArgv: server.execArgv }),
    });
    // Noble's process has to start first, on a busy machine too.
    await vi.waitUntil(() => sensor.startCount === 1, { timeout: 240_000, interval: 50 });
    page = await (await browser.newContext({ viewport: { width: 390, height: 844 } })).newPage();
  });
  afterAll(async () => {
    stop();
    await browser?.close();
    await service?.close();
    await server?.close();
    built?.remove();
    rmSync(folder, { recursive: true, force: true });
  });

  test('leads from rest to spin to toss, and says what it found', async () => {
    await page.goto(`${service.url}#start`);
    const { begin, stop: end } = moveSensor(sensor);
    stop = end;
    for (const step of ['Step 2 of 4', 'Step 3 of 4']) {
      await page.getByRole('button', { name: 'Next', exact: true }).click();
      await page.getByText(step).waitFor();
    }
    await page.locator('.sensors li[data-state=streaming]').waitFor();
    await page.getByRole('button', { name: 'Next', exact: true }).click();
    await page.getByRole('button', { name: 'Begin', exact: true }).click();
    const at = (step: string) => page.locator(`.guide[data-step=${step}]`).waitFor();
    await at('rest');
    begin(lying);
    await at('spin');
    await page.getByText(/^At rest it reads 1 g to 0\.0\d m\/s²\.$/).waitFor();
    expect(await cutOff(page)).toEqual([]);
    begin(spinning);
    await at('toss');
    begin(tossing());
    await at('done');
    await page.getByText(/^Spun at up to 2\.0 rev\/s\.$/).waitFor();
    await page.getByText(/^In the air for 0\.(6[6-9]|7[0-4]) s\.$/).waitFor();
    expect(await axeFindings(page)).toEqual([]);
    expect(await cutOff(page)).toEqual([]);
    begin(held);
    await page.getByRole('button', { name: 'Once more' }).click();
    await at('rest');
  });

  test('says that the sensor is lost when it is', async () => {
    await page.locator('.guide[data-step=rest]').waitFor();
    sensor.peripheral.drop();
    await page.getByRole('alert').getByText('The sensor was lost:').waitFor();
    expect(await axeFindings(page)).toEqual([]);
  });
});
