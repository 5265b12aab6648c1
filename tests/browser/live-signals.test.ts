import { mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { createSimulatedPair } from '../../src/devices/simulated-pair.ts';
import { systemClock } from '../../src/devices/system-clock.ts';
import { startService } from '../../src/server/service.ts';
import type { RunningService } from '../../src/server/service-options.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';
import { chromiumPath, noBrowser } from '../helpers/chromium.ts';
import { freePort } from '../helpers/free-port.ts';
import { type BuiltPage, buildPage } from './built-page.ts';
import { openBrowser } from './open-browser.ts';
import { axeFindings, cutOff } from './page-checks.ts';

const executablePath = chromiumPath();
const title = executablePath === null ? `signals as they come (${noBrowser})` : 'signals as they come';
const sizes = [
  [390, 844],
  [1366, 768],
  [1920, 1080],
] as const;

describe.skipIf(executablePath === null)(title, () => {
  let built: BuiltPage;
  let browser: Browser;
  let service: RunningService;
  let dataFolder = '';
  let page: Page;
  const complaints: string[] = [];

  beforeAll(async () => {
    built = await buildPage();
    browser = await openBrowser();
    dataFolder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-live-signals-'));
    service = await startService({
      ...{ version: '1.2.3', port: await freePort(), dataFolder, pageFolder: built.folder },
      settings: defaultBallSettings,
      source: createSimulatedPair({ clock: systemClock, seed: 3 }),
    });
    page = await (await browser.newContext({ viewport: { width: 1366, height: 768 } })).newPage();
    page.on('pageerror', (error) => complaints.push(error.message));
    await page.goto(`${service.url}#sessions`);
    await page.getByRole('link', { name: 'Signals as they come' }).click();
  });
  afterAll(async () => {
    await browser?.close();
    await service?.close();
    built?.remove();
    rmSync(dataFolder, { recursive: true, force: true });
  });

  /** Pixels in the colours of the lines, in each row, of the part of the picture that is seen. */
  const linesDrawn = () =>
    page.evaluate<number[]>(`(() => {
      const rows = [...document.querySelectorAll('.live-stage .chart-row')].map((row) => row.getBoundingClientRect());
      const counts = rows.map(() => 0);
      const style = getComputedStyle(document.querySelector('.research'));
      const pen = document.createElement('canvas').getContext('2d', { willReadFrequently: true });
      const colours = ['--axis-x', '--axis-y', '--axis-z'].map((name) => {
        pen.fillStyle = style.getPropertyValue(name);
        pen.fillRect(0, 0, 1, 1);
        return [...pen.getImageData(0, 0, 1, 1).data];
      });
      for (const canvas of document.querySelectorAll('.live-tile canvas')) {
        const box = canvas.getBoundingClientRect();
        const ratio = canvas.width / box.width;
        const context = canvas.getContext('2d');
        for (const [at, { top, height }] of rows.entries()) {
          const { data } = context.getImageData(0, Math.round((top - box.top) * ratio), canvas.width, Math.round(height * ratio));
          for (let i = 0; i < data.length; i += 4) {
            if (data[i + 3] < 100) continue;
            if (colours.some(([r, g, b]) => Math.abs(data[i] - r) + Math.abs(data[i + 1] - g) + Math.abs(data[i + 2] - b) < 60)) counts[at] += 1;
          }
        }
      }
      return counts;
    })()`);

  test('two quantities of each sensor run by, in every size', async () => {
    for (const [width, height] of sizes) {
      await page.setViewportSize({ width, height });
      // Whether what can be chosen is folded is decided when the screen is opened.
      await page.reload();
      await expect.poll(async () => (await linesDrawn()).filter((count) => count > 300).length).toBe(4);
      expect(await cutOff(page)).toEqual([]);
      // The picture is what is looked at: it begins within sight, on a phone too.
      const place = await page.locator('.live-stage .chart-row').first().boundingBox();
      expect(place?.y).toBeLessThan(0.62 * height);
    }
    await page.setViewportSize({ width: 1366, height: 768 });
  });

  test('times of a shot are flagged as they are found, and stand in a table with their errors', async () => {
    const release = page.locator('.live-mark.line-release').last();
    await release.waitFor({ state: 'attached' });
    await page.locator('[data-shot]').getByText('final').first().waitFor();
    const times = await page.locator('[data-shot] td').first().textContent();
    expect(times).toMatch(/^\d\d:\d\d:\d\d\.\d{3} ± [\d.]+ ms$|^not known$/);
    expect(await page.locator('[data-shot]').first().textContent()).toMatch(/± [\d.]+ ms/);
  });

  test('held still the picture does not move, and goes on afterwards', async () => {
    const place = () => page.locator('.live-stage .stage-mover').evaluate((element) => element.style.transform);
    await page.getByRole('button', { name: 'Hold still' }).click();
    await page.getByRole('button', { name: 'Go on' }).waitFor();
    const held = await place();
    // It could have moved with each of these.
    await page.evaluate(`(async () => {
      for (let frame = 0; frame < 30; frame++) await new Promise((done) => requestAnimationFrame(done));
    })()`);
    expect(await place()).toBe(held);
    await page.getByRole('button', { name: 'Go on' }).click();
    await expect.poll(place).not.toBe(held);
  });

  test('lines, quantities and sensors are chosen, and no line is none', async () => {
    await page.getByRole('checkbox', { name: 'Turn rate' }).uncheck();
    await expect.poll(async () => (await linesDrawn()).length).toBe(2);
    for (const channel of ['x', 'y', 'z', 'magnitude'])
      await page.getByRole('checkbox', { name: channel, exact: true }).uncheck();
    await expect.poll(async () => Math.max(...(await linesDrawn()))).toBe(0);
    for (const channel of ['x', 'y', 'z', 'magnitude'])
      await page.getByRole('checkbox', { name: channel, exact: true }).check();
    await page.getByRole('radio', { name: '2 s', exact: true }).check();
    await expect.poll(async () => Math.min(...(await linesDrawn()))).toBeGreaterThan(100);
    await page.getByRole('radio', { name: '30 s', exact: true }).check();
    await page.getByRole('checkbox', { name: 'Turn rate' }).check();
    await expect.poll(async () => (await linesDrawn()).filter((count) => count > 100).length).toBe(4);
  });

  test.each(['light', 'dark', 'contrast'])('axe finds nothing, %s, and the lines follow the colours', async (theme) => {
    await page.evaluate(`document.documentElement.dataset.theme = ${JSON.stringify(theme)}`);
    expect(await axeFindings(page)).toEqual([]);
    await expect.poll(async () => (await linesDrawn()).filter((count) => count > 300).length).toBe(4);
  });

  test('without the service it says so, keeps what was drawn, and goes on by itself', async () => {
    const { port } = new URL(service.url);
    await service.close();
    await page.getByRole('alert').getByText('The service cannot be reached.').waitFor();
    expect(Math.max(...(await linesDrawn()))).toBeGreaterThan(300);
    service = await startService({
      ...{ version: '1.2.3', port: Number(port), dataFolder, pageFolder: built.folder, settings: defaultBallSettings },
      source: createSimulatedPair({ clock: systemClock, seed: 4 }),
    });
    await page.getByRole('alert').getByText('The service cannot be reached.').waitFor({ state: 'detached' });
    await expect.poll(async () => (await linesDrawn()).filter((count) => count > 100).length).toBeGreaterThanOrEqual(4);
    expect(complaints).toEqual([]);
  });
});
