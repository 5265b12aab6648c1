import { mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { BrowserSensors } from '../../src/devices/browser-sensors.ts';
import { systemClock } from '../../src/devices/system-clock.ts';
import { startService } from '../../src/server/service.ts';
import type { RunningService } from '../../src/server/service-options.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';
import { chromiumPath, noBrowser } from '../helpers/chromium.ts';
import { type BuiltPage, buildPage } from './built-page.ts';
import { everyScreen, screenOf } from './every-screen.ts';
import { openBrowser } from './open-browser.ts';
import { axeFindings, cutOff } from './page-checks.ts';
import { countAsked, settled } from './settled.ts';

const executablePath = chromiumPath();
const title =
  executablePath === null ? `nothing there, and nobody there (${noBrowser})` : 'nothing there, and nobody there';
const looks = [
  [390, 844, 'dark'],
  [1366, 768, 'contrast'],
  [1920, 1080, 'light'],
] as const;
/** Of a practice that nobody has. */
const allScreens = everyScreen('nobodys');

describe.skipIf(executablePath === null)(title, () => {
  let built: BuiltPage;
  let browser: Browser;
  let service: RunningService;
  let folder = '';
  const pages: Page[] = [];

  beforeAll(async () => {
    built = await buildPage();
    browser = await openBrowser();
    folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-empty-'));
    service = await startService({
      ...{ version: '1.2.3', port: 0, dataFolder: folder, pageFolder: built.folder, settings: defaultBallSettings },
      source: new BrowserSensors({ clock: systemClock }),
    });
    for (const [width, height, theme] of looks) {
      const page = await (await browser.newContext({ viewport: { width, height } })).newPage();
      await page.addInitScript(`localStorage.setItem('seamwise-settings', '{"theme":"${theme}"}')`);
      await countAsked(page);
      await page.goto(`${service.url}#live`);
      await page.locator('.connection-open').waitFor();
      pages.push(page);
    }
  });
  afterAll(async () => {
    await browser?.close();
    await service?.close();
    built?.remove();
    rmSync(folder, { recursive: true, force: true });
  });

  const through = async (page: Page): Promise<void> => {
    for (const screen of allScreens) {
      await page.evaluate(`window.location.hash = ${JSON.stringify(screen)}`);
      await page.locator(`main[data-screen=${screenOf(screen)}]`).waitFor();
      await settled(page);
      // A screen says what there is not, and what to do: it is never blank.
      const words = (await page.locator('main').textContent()) ?? '';
      expect(words.trim().length, screen).toBeGreaterThan(20);
      expect(await cutOff(page), screen).toEqual([]);
      expect(await axeFindings(page), screen).toEqual([]);
      if (screen.startsWith('session='))
        expect(await page.getByRole('alert').first().textContent(), screen).not.toBe('');
      // Whoever is not let in yet has lost nothing.
      if (screen === 'pair') expect(await page.locator('.connection-lost').count()).toBe(0);
    }
  };

  test.each(looks.map((look, at) => [...look, at] as const))(
    'empty: every screen says so at %d × %d, %s, nothing is cut off and axe finds nothing',
    async (_width, _height, _theme, at) => through(pages[at] as Page),
  );

  test('without the service every screen says that it cannot be reached, nothing is cut off and axe finds nothing', async () => {
    // What is loaded when it is opened was opened before.
    await service.close();
    for (const page of pages) {
      await page.locator('.connection-lost').waitFor();
      await through(page);
    }
  });
});
