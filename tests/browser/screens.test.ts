import { mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { AxeBuilder } from '@axe-core/playwright';
import type { Browser, Page } from 'playwright-core';
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, test } from 'vitest';
import { themes } from '../../src/dashboard/settings/page-settings.ts';
import { measured } from '../../src/foundation/measured.ts';
import { chromiumPath, noBrowser } from '../helpers/chromium.ts';
import { madeShot, shotEvent } from '../server/made-shots.ts';
import { type BuiltPage, buildPage } from './built-page.ts';
import { everyScreen, screenOf } from './every-screen.ts';
import { openBrowser } from './open-browser.ts';
import { type PageService, startPageService } from './page-service.ts';
import { countAsked, settled } from './settled.ts';

const executablePath = chromiumPath();
const title = executablePath === null ? `the screens (${noBrowser})` : 'the screens';

const sizes = [
  ['phone', 390, 844],
  ['laptop', 1366, 768],
  ['wall display', 1920, 1080],
] as const;

describe.skipIf(executablePath === null)(title, () => {
  let built: BuiltPage;
  let browser: Browser;
  let dataFolder = '';
  let service: PageService;
  let page: Page;

  beforeAll(async () => {
    built = await buildPage();
    browser = await openBrowser();
  });
  afterAll(async () => {
    await browser?.close();
    built?.remove();
  });
  beforeEach(async () => {
    dataFolder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-screens-'));
    service = await startPageService({ pageFolder: built.folder, dataFolder, runId: 'run1', port: 0, lan: true });
    const context = await browser.newContext({ viewport: { width: 1366, height: 768 } });
    page = await context.newPage();
    await countAsked(page);
  });
  afterEach(async () => {
    await page.context().close();
    await service.close();
    rmSync(dataFolder, { recursive: true, force: true });
  });

  const open = async (screen: string): Promise<void> => {
    await page.goto('about:blank');
    await page.goto(`${service.url}#${screen}`);
    await page.locator(`main[data-screen=${screenOf(screen)}]`).waitFor();
    await page.locator('.connection-open').waitFor();
    await settled(page);
  };
  const keep = async (settings: object): Promise<void> => {
    await page.addInitScript(`localStorage.setItem('seamwise-settings', ${JSON.stringify(JSON.stringify(settings))})`);
  };
  const findings = async (): Promise<string[]> => {
    const { violations } = await new AxeBuilder({ page })
      .withTags(['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'])
      .analyze();
    return violations.flatMap(({ id, nodes }) => nodes.map(({ html }) => `${id}: ${html.slice(0, 120)}`));
  };

  describe('court', () => {
    test.each(sizes)(
      'digits stand at least 18 %% of the height of a %s high, and nothing is cut off',
      async (_name, width, height) => {
        await page.setViewportSize({ width, height });
        await open('court');
        for (let index = 0; index < 14; index++) service.hub.publish(shotEvent(index));
        await page.locator('.court-figure[data-place]:not([data-place=none])').first().waitFor();
        await expect.poll(() => page.locator('.court-figure .huge-number text').count()).toBe(2);
        const boxes = await page.locator('.court-figure .huge-number text').evaluateAll((texts) =>
          texts.map((text) => {
            const { left, right } = text.getBoundingClientRect();
            // The box of a text is that of its font; the digits fill the picture around it.
            const around = (text.parentElement as unknown as SVGElement).getBoundingClientRect();
            return { left, right, height: around.height };
          }),
        );
        expect(boxes).toHaveLength(2);
        for (const box of boxes) {
          expect(box.height).toBeGreaterThanOrEqual(0.18 * height);
          expect(box.left).toBeGreaterThanOrEqual(0);
          expect(box.right).toBeLessThanOrEqual(width);
        }
        expect(await page.evaluate('document.documentElement.scrollWidth')).toBe(width);
        const footer = await page.locator('.cautions-short').boundingBox();
        const hurts = await page.getByRole('button', { name: 'Something hurts' }).boundingBox();
        expect((hurts?.y ?? 0) + (hurts?.height ?? 0)).toBeLessThanOrEqual(footer?.y ?? 0);
        // 15 mm of 96 dots an inch.
        expect(hurts?.height).toBeGreaterThanOrEqual((15 / 25.4) * 96 - 0.5);
      },
    );

    test('tells usual from unusual in words', async () => {
      await open('court');
      for (let index = 0; index < 5; index++) service.hub.publish(shotEvent(index));
      const figure = page.locator('[data-measure=pickupToReleaseS]');
      await figure.getByText('usual range after 6 more shots').waitFor();
      for (let index = 5; index < 12; index++) service.hub.publish(shotEvent(index));
      // The last of them is judged by all before it.
      await figure.getByText(/of 11 shots/).waitFor();
      expect(await figure.locator('.place').textContent()).toMatch(/usual/);
    });

    test('tells a leaning number by its side, and nothing as a thin line', async () => {
      await keep({ figures: ['axisTiltDeg', 'pickupToReleaseS'] });
      await open('court');
      const figure = page.locator('[data-measure=axisTiltDeg]');
      const lineHeight = await figure.locator('.huge-none text').evaluate((text) => getComputedStyle(text).fontSize);
      expect(Number.parseFloat(lineHeight)).toBeLessThan(100);
      for (let index = 0; index < 12; index++) {
        const { measures } = madeShot(index);
        const tilted = { ...measures, axisTiltDeg: measured(index === 11 ? -14 : 5 + (index % 3), 0.3) };
        const shot = madeShot(index, 'final', { measures: tilted });
        service.hub.publish({ ...shotEvent(index), event: { kind: 'shot', shot } });
      }
      // 14° to the right is further right than 5° to 7° to the left, not less.
      await figure.getByText('further right than usual').waitFor();
      expect(await figure.locator('.band-note').textContent()).toMatch(
        /^usual [\d.]+ left to [\d.]+ left, of 11 shots$/,
      );
    });

    test('"something hurts" stops, says what to do, asks for the end of the sets and sends nothing more', async () => {
      await open('court');
      const sent: string[] = [];
      page.on('request', (request) => sent.push(request.url()));
      await page.getByRole('button', { name: 'Something hurts' }).click();
      const alert = page.getByRole('alert');
      expect(await alert.textContent()).toMatch(/no more shots today.*clinician/);
      await alert.getByText('could not be ended from here').waitFor();
      await page.getByRole('button', { name: 'Back' }).click();
      await page.locator('.court').waitFor();
      expect(sent.map((url) => new URL(url).pathname)).toEqual(['/api/sessions/current/end-sets']);
    });
  });

  test('settings are kept and hold on every screen', async () => {
    await open('settings');
    await page.getByLabel('rpm').check();
    await page.getByLabel('feet and inches').check();
    await page.getByLabel('high contrast').check();
    service.hub.publish(shotEvent(0));
    await open('court');
    await page.getByText('Backspin, rpm').waitFor();
    await page.reload();
    await page.getByText('Backspin, rpm').waitFor();
    expect(await page.evaluate('document.documentElement.dataset.theme')).toBe('contrast');
  });

  test('a screen that cannot be drawn says so, and the others go on', async () => {
    await page.route('**/api/sessions?*', (route) => route.fulfill({ json: { sessions: [null] } }));
    await open('sessions');
    await page.getByRole('alert').getByText('This screen could not be drawn').waitFor();
    expect(await findings()).toEqual([]);
    await page.getByRole('link', { name: 'Live' }).click();
    service.hub.publish(shotEvent(0));
    await page.locator('tr.shot').first().waitFor();
    await page.unroute('**/api/sessions?*');
    await page.getByRole('link', { name: 'Sessions' }).click();
    await page.locator('section.sessions').waitFor();
  });

  describe('no finding of axe to WCAG 2.2 AA', () => {
    for (const theme of themes.filter((one) => one !== 'system')) {
      test.each(everyScreen('nobodys'))(`${theme}, %s`, async (screen) => {
        await keep({ theme, sound: 'tone' });
        for (let index = 0; index < 12; index++) service.hub.publish(shotEvent(index));
        await open(screen);
        expect(await findings()).toEqual([]);
      });
    }
  });

  test('a device of the network comes in by its code, sees shots, and is out when it is removed', async (context) => {
    const { lanUrl } = service;
    if (lanUrl === null) return context.skip('skipped: this machine has no network');
    const other = await browser.newContext({ viewport: { width: 390, height: 844 } });
    const phone = await other.newPage();
    await phone.goto(lanUrl);
    // Sent to the pairing by itself: there is nothing else to see.
    await phone.locator('main[data-screen=pair]').waitFor();
    await open('devices');
    await page.getByRole('button', { name: 'Let a coach in' }).click();
    const code = (await page.locator('.pair-code').textContent())?.match(/\d{6}/)?.[0] ?? '';
    await page.locator('img.qr').evaluate((picture) => (picture as HTMLImageElement).decode());
    await phone.getByLabel('The six digits').fill('000000');
    await phone.getByRole('button', { name: 'Pair' }).click();
    await phone.getByText('tries left: 4').waitFor();
    await phone.getByLabel('The six digits').fill(code);
    await phone.getByLabel('What this device').fill('<img src=x onerror=alert(1)>');
    await phone.getByRole('button', { name: 'Pair' }).click();
    await phone.getByText('Waiting until').waitFor();
    await page.getByText('<img src=x onerror=alert(1)>').waitFor();
    await page.getByRole('button', { name: 'Let it in' }).click();
    await phone.getByText('Paired.').waitFor();
    await phone.getByRole('link', { name: 'To the shots' }).click();
    service.hub.publish(shotEvent(0));
    await phone.locator('.court-figure .huge-number').first().waitFor();
    await phone.getByRole('link', { name: 'Devices' }).click();
    await phone.getByText('on the machine of the service').waitFor();
    await page.getByRole('button', { name: 'Remove' }).click();
    await phone.locator('.connection-lost').waitFor();
    await other.close();
  });
});
