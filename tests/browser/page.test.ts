import { mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import type { Browser, Page } from 'playwright-core';
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, test } from 'vitest';
import { measured, notMeasured } from '../../src/foundation/measured.ts';
import { chromiumPath, noBrowser } from '../helpers/chromium.ts';
import { freePort } from '../helpers/free-port.ts';
import { madeShot, rejectedEvent, shotEvent } from '../server/made-shots.ts';
import { type BuiltPage, buildPage } from './built-page.ts';
import { contrastRatios } from './contrast.ts';
import { openBrowser } from './open-browser.ts';
import { type PageService, startPageService } from './page-service.ts';

const executablePath = chromiumPath();
const title = executablePath === null ? `the page (${noBrowser})` : 'the page';

describe.skipIf(executablePath === null)(title, () => {
  let built: BuiltPage;
  let browser: Browser;
  let dataFolder = '';
  let service: PageService;
  let page: Page;
  let complaints: string[] = [];

  beforeAll(async () => {
    built = await buildPage();
    browser = await openBrowser();
  });
  afterAll(async () => {
    await browser?.close();
    built?.remove();
  });

  beforeEach(async () => {
    dataFolder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-page-data-'));
    service = await startPageService({ pageFolder: built.folder, dataFolder, runId: 'run1', port: await freePort() });
    page = await browser.newPage({ viewport: { width: 1366, height: 768 } });
    complaints = [];
    page.on('pageerror', (error) => complaints.push(error.message));
    page.on('console', (message) => {
      // A browser says so whenever a server is not there, or what the page keeps for then has no answer either; the page is to live with that.
      if (message.type() === 'error' && !/ERR_CONNECTION|ERR_FAILED/.test(message.text()))
        complaints.push(message.text());
    });
    await page.goto(`${service.url}#live`);
    // What the service tells of itself has come.
    await page.locator('.simulated').waitFor();
  });
  afterEach(async () => {
    await page.close();
    await service.close();
    rmSync(dataFolder, { recursive: true, force: true });
    expect(complaints).toEqual([]);
  });

  const stage = (): Promise<string | null> => page.locator('.latest').getAttribute('data-stage');
  const figure = (name: string): Promise<string | null> => page.locator(`[data-measure=${name}]`).textContent();
  const rows = (): Promise<(string | null)[]> =>
    page.locator('tr.shot').evaluateAll((found) => found.map((row) => row.getAttribute('data-shot-id')));
  const rowCount = (count: number): Promise<void> =>
    page
      .locator('tr.shot')
      .nth(count - 1)
      .waitFor();

  test('says that the shooter is simulated, before any shot and for as long as the page stands', async () => {
    const note = page.locator('.simulated');
    await note.waitFor();
    expect(await note.textContent()).toContain('Simulated shooter');
    for (let index = 0; index < 30; index++) service.hub.publish(shotEvent(index));
    await rowCount(30);
    await page.evaluate('window.scrollTo(0, document.body.scrollHeight)');
    const box = await note.boundingBox();
    expect(box?.y).toBe(0);
  });

  test('does not say so of a real sensor', async () => {
    await service.close();
    const { port } = service;
    service = await startPageService({ pageFolder: built.folder, dataFolder, runId: 'run2', port, simulated: false });
    await page.locator('.simulated').waitFor({ state: 'detached' });
    await page.locator('.connection-open').waitFor();
  });

  test('shows first the early numbers, then the final ones, each with its doubt or the reason why it is missing', async () => {
    await page.locator('.connection-open').waitFor();
    expect(await stage()).toBe('none');
    service.hub.publish(shotEvent(0, 'early'));
    await page.locator('.latest[data-stage=early]').waitFor();
    expect(await figure('pickupToReleaseS')).toMatch(/0\.82\s*s\s*± 0\.01/);
    expect(await figure('backspinRps')).toMatch(/2\.02\s*rev\/s\s*± 0\.01/);
    expect(await figure('launchAngleDeg')).toMatch(/–\s*known when the ball lands/);
    service.hub.publish(shotEvent(0, 'final'));
    await page.locator('.latest[data-stage=final]').waitFor();
    expect(await figure('launchAngleDeg')).toMatch(/52\.3\s*°\s*± 0\.4°/);
    expect(await figure('backspinRps')).toMatch(/Spin axis: 5\.9° left ± 0\.6/);
    expect(await rows()).toHaveLength(1);
  });

  test('shows the total spin as long as its parts are not known', async () => {
    const early = madeShot(0, 'early');
    const measures = { ...early.measures, backspinRps: notMeasured('too-early') };
    const event = { kind: 'shot', shot: { ...early, measures } } as const;
    service.hub.publish({ sensorId: 'ball-a', streamIndex: 0, hostTimeS: 1, event });
    await page.locator('.latest[data-stage=early]').waitFor();
    expect(await figure('backspinRps')).toMatch(/Total spin2\.04rev\/s± 0\.01.*known when the ball lands/);
  });

  test('takes an early shot away that turns out to be none', async () => {
    service.hub.publish(shotEvent(0, 'early'));
    await page.locator('tr.shot').waitFor();
    service.hub.publish(rejectedEvent(10));
    await page.locator('tr.shot').waitFor({ state: 'detached' });
    expect(await stage()).toBe('none');
    expect(await page.locator('.rejected').textContent()).toContain('a pass; the flight ended 1.9 m below the ring');
  });

  test('gives the reason instead of a number, and the parts of the spin where one angle says little', async () => {
    const measures = {
      ...madeShot(0).measures,
      launchAngleDeg: notMeasured('flight-too-short'),
      axisTiltDeg: notMeasured('near-sideways-axis'),
      sidespinRps: measured(-1.6, 0.02),
      pickupToReleaseS: measured(0.9, 0.1, { interval90: [0.82, 1.21] }),
      sidePathM: measured(0.13, 0.2, { interval90: [-0.28, 0.37] }),
    };
    const event = { kind: 'shot', shot: madeShot(0, 'final', { measures }) } as const;
    service.hub.publish({ sensorId: 'ball-a', streamIndex: 0, hostTimeS: 1, event });
    await page.locator('.latest[data-stage=final]').waitFor();
    expect(await figure('launchAngleDeg')).toContain('the flight was too short to measure this');
    expect(await figure('backspinRps')).toMatch(/Sidespin: 1\.60 rev\/s right ± 0\.02/);
    expect(await figure('pickupToReleaseS')).toContain('0.82 to 1.21');
    await page.locator('tr.shot button').click();
    expect(await page.locator('tr.details').textContent()).toContain('13 cm left (28 right to 37 left)');
  });

  test('opens all measures of a shot by keyboard', async () => {
    service.hub.publish(shotEvent(0));
    await page.locator('tr.shot button').focus();
    await page.keyboard.press('Enter');
    const details = page.locator('tr.details');
    await details.waitFor();
    const text = await details.textContent();
    for (const label of ['Lift to release', 'Rifle spin', 'Rise above release', 'Side path', 'Hardness of contact']) {
      expect(text).toContain(label);
    }
    expect(text).toContain('the distance to the ring was not given');
    expect(await page.locator('tr.shot button').getAttribute('aria-expanded')).toBe('true');
    await page.keyboard.press('Enter');
    await details.waitFor({ state: 'detached' });
  });

  test('shows cautions in short on every screen, and all of them behind a link', async () => {
    const short = page.locator('.cautions-short');
    expect(await short.textContent()).toContain('Pain means stop');
    const box = await short.boundingBox();
    expect((box?.y ?? 0) + (box?.height ?? 0)).toBe(768);
    await short.getByRole('link').click();
    const all = page.locator('main[data-screen=cautions] .cautions');
    await all.waitFor();
    expect(await all.evaluate((element) => element.getBoundingClientRect().top < 768)).toBe(true);
    const text = await all.textContent();
    for (const word of ['clinician', 'Growing players', 'lithium', 'skin', 'contact play', 'licensed', 'local rules']) {
      expect(text).toContain(word);
    }
  });

  test('tells a screen reader each final shot in words', async () => {
    const announcer = page.locator('[data-part=announcer]');
    expect(await announcer.getAttribute('aria-live')).toBe('polite');
    service.hub.publish(shotEvent(0, 'early'));
    await page.locator('.latest[data-stage=early]').waitFor();
    expect(await announcer.textContent()).toBe('');
    service.hub.publish(shotEvent(0, 'final'));
    await page.locator('.latest[data-stage=final]').waitFor();
    await expect
      .poll(() => announcer.textContent())
      .toBe('New shot. Pickup to release 0.82 s. Backspin 2.02 rev/s. Launch angle 52.3°. First contact: ring.');
  });

  test('comes back by itself after a restart of the service, with nothing missed and nothing doubled', async () => {
    for (let index = 0; index < 3; index++) service.hub.publish(shotEvent(index));
    service.hub.publish(shotEvent(3, 'early'));
    await rowCount(4);
    const { port } = service;
    await service.close();
    await page.locator('.connection-lost').waitFor();
    expect(await page.locator('.stale').textContent()).not.toBe('');
    // The shots are still to be read while the service is away.
    expect(await rows()).toHaveLength(4);

    service = await startPageService({ pageFolder: built.folder, dataFolder, runId: 'run2', port });
    // Made before the page is back: it must not miss them.
    for (let index = 4; index < 7; index++) service.hub.publish(shotEvent(index));
    await page.locator('.connection-open').waitFor();
    await rowCount(7);
    service.hub.publish(shotEvent(7, 'final'));
    await rowCount(8);
    const names = [3, 2, 1, 0].flatMap((index) => `run2.ball-a.${index}`);
    const before = [3, 2, 1, 0].flatMap((index) => `run1.ball-a.${index}`);
    expect(await rows()).toEqual([...names, ...before]);
    // The shot that was in the air when the service ended stays unfinished, and says so.
    const unfinished = page.locator('tr.shot[data-stage=early]');
    expect(await unfinished.textContent()).toContain('Unfinished');
  });

  test('opened anew, shows the shots of earlier runs', async () => {
    for (let index = 0; index < 3; index++) service.hub.publish(shotEvent(index));
    const { port } = service;
    await service.close();
    service = await startPageService({ pageFolder: built.folder, dataFolder, runId: 'run2', port });
    await page.reload();
    await rowCount(3);
    expect(await rows()).toEqual(['run1.ball-a.2', 'run1.ball-a.1', 'run1.ball-a.0']);
  });

  test('offers to load itself again when a new version of the service runs', async () => {
    await page.locator('.connection-open').waitFor();
    const { port } = service;
    await service.close();
    service = await startPageService({ pageFolder: built.folder, dataFolder, runId: 'run2', port, version: '1.3.0' });
    const loaded = page.waitForEvent('load');
    await page.getByRole('link', { name: 'Load the page again' }).click();
    await loaded;
    await page.locator('.simulated').waitFor();
    expect(await page.locator('.reload').count()).toBe(0);
  });

  test('shows what the sensors do', async () => {
    service.hub.setSensor({
      sensorId: '3fa20c77',
      state: 'lost',
      detail: 'the radio was switched off',
      notificationCount: 900,
      lostCount: 100,
      corruptCount: 0,
      sampleRateHz: 415.7,
    });
    const item = page.locator('.sensors li');
    await item.waitFor();
    const text = await item.textContent();
    for (const part of ['Sensor 3fa2', 'out of reach', '416 samples/s', '10.0 % lost', 'the radio was switched off']) {
      expect(text).toContain(part);
    }
  });

  test.each([
    ['phone', 390, 844],
    ['laptop', 1366, 768],
    ['wall display', 1920, 1080],
  ])('fits a %s without scrolling sideways, its three figures on the first screen', async (_name, width, height) => {
    await page.setViewportSize({ width, height });
    for (let index = 0; index < 25; index++) service.hub.publish(shotEvent(index));
    await rowCount(25);
    expect(await page.evaluate('document.documentElement.scrollWidth')).toBe(width);
    const footer = await page.locator('.cautions-short').boundingBox();
    for (const name of ['pickupToReleaseS', 'backspinRps', 'launchAngleDeg']) {
      const box = await page.locator(`[data-measure=${name}] .figure-error`).boundingBox();
      expect((box?.y ?? Number.POSITIVE_INFINITY) + (box?.height ?? 0)).toBeLessThan(footer?.y ?? 0);
    }
  });

  test.each(['light', 'dark'] as const)('has enough contrast for small text (%s)', async (colorScheme) => {
    await page.emulateMedia({ colorScheme });
    service.hub.publish(shotEvent(0, 'early'));
    service.hub.publish(shotEvent(1));
    await rowCount(2);
    const ratios = (await page.evaluate(contrastRatios)) as [string, number][];
    expect(ratios.length).toBeGreaterThan(20);
    // SOURCE: WCAG 2.2, success criterion 1.4.3: 4.5 for text of normal size.
    expect(ratios.filter(([, ratio]) => ratio < 4.5)).toEqual([]);
  });
});
