import { mkdtempSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { gzipSync } from 'node:zlib';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, test, vi } from 'vitest';
import { turnS } from '../../src/dashboard/parts/shot-picture.tsx';
import { startService } from '../../src/server/service.ts';
import type { RunningService } from '../../src/server/service-options.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';
import { chromiumPath, noBrowser } from '../helpers/chromium.ts';
import { type BuiltPage, buildPage } from './built-page.ts';
import { everyScreen, screenOf } from './every-screen.ts';
import { openBrowser } from './open-browser.ts';
import { axeFindings, cutOff, pushedSideways, textsOutside } from './page-checks.ts';
import { countAsked, settled } from './settled.ts';

const executablePath = chromiumPath();
const title = executablePath === null ? `every screen and state (${noBrowser})` : 'every screen and state';
const sizes = [
  [390, 844],
  [1366, 768],
  [1920, 1080],
] as const;
const themes = ['light', 'dark', 'contrast'] as const;
/** Those of the practice that runs among them. */
const allScreens = everyScreen('current');

describe.skipIf(executablePath === null)(title, () => {
  let built: BuiltPage;
  let browser: Browser;
  let service: RunningService;
  let dataFolder = '';

  const ask = async (method: string, route: string, body?: object) => {
    const headers = { 'content-type': 'application/json' };
    const answer = await fetch(new URL(route, service.url), {
      ...{ method, ...(body ? { headers, body: JSON.stringify(body) } : {}) },
    });
    return answer.json();
  };
  const opened = async (screen: string, settings: object = {}, [width, height]: readonly number[] = [1366, 768]) => {
    const context = await browser.newContext({ viewport: { width: width as number, height: height as number } });
    const page = await context.newPage();
    await page.addInitScript(`localStorage.setItem('seamwise-settings', ${JSON.stringify(JSON.stringify(settings))})`);
    await countAsked(page);
    await page.goto(`${service.url}#${screen}`);
    await page.locator(`main[data-screen=${screen}]`).waitFor();
    await page.locator('.connection-open').waitFor();
    await settled(page);
    return page;
  };
  /** Goes through screens on one page, as a person does. */
  const through = async (
    page: Page,
    look: (screen: string) => Promise<void>,
    names: readonly string[] = allScreens,
  ): Promise<void> => {
    for (const screen of names) {
      await page.evaluate(`window.location.hash = ${JSON.stringify(screen)}`);
      await page.locator(`main[data-screen=${screenOf(screen)}]`).waitFor();
      await settled(page);
      // Once its choice has stood for a moment, it asks what would go out.
      if (screen === 'export') await page.locator('.export [aria-live] strong').waitFor();
      await look(screen);
    }
    await closed(page);
  };
  const closed = (page: Page): Promise<void> => page.context().close();

  beforeAll(async () => {
    built = await buildPage();
    browser = await openBrowser();
    dataFolder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-states-'));
    service = await startService({
      ...{ version: '1.2.3', port: 0, dataFolder, pageFolder: built.folder, settings: defaultBallSettings, seed: 5 },
    });
    for (let number = 1; number <= 20; number++) {
      const pseudonym = `Player ${String(number).padStart(2, '0')}`;
      const { id } = await ask('POST', '/api/players', { pseudonym });
      for (const scope of ['record', 'display']) {
        await ask('POST', `/api/players/${id}/consents`, { scope, givenByRole: 'parent' });
      }
    }
    const until = { timeout: 240_000, interval: 200 };
    await vi.waitUntil(async () => (await ask('GET', '/api/sessions?limit=1')).sessions.length === 1, until);
    await ask('POST', '/api/sessions/current/sets', {
      ...{ kind: 'test', name: 'Before practice', spot: 'left elbow', factors: [{ factor: 'footwork', level: 'hop' }] },
    });
    await vi.waitUntil(async () => (await ask('GET', '/api/sessions/current/shots')).shots.length > 1, until);
  });
  afterAll(async () => {
    await browser?.close();
    await service?.close();
    built?.remove();
    rmSync(dataFolder, { recursive: true, force: true });
  });

  test.each(sizes)('full: nothing is cut off at %d × %d', async (width, height) => {
    const figures = ['pickupToReleaseS', 'axisTiltDeg', 'launchAngleDeg'];
    const page = await opened('court', { figures }, [width, height]);
    await through(page, async (screen) => {
      expect(await cutOff(page), screen).toEqual([]);
      const pushed = await pushedSideways(page);
      // What is wider than it shows can be moved by keys; on a phone there is nothing of the kind.
      expect(pushed.byNone, screen).toEqual([]);
      if (width < 400) expect(pushed.byKeys, screen).toEqual([]);
    });
  });

  test.each(sizes)('error and dialog: nothing is cut off at %d × %d, and axe finds nothing', async (width, height) => {
    const page = await opened('bench', {}, [width, height]);
    await page.getByText('Add a player', { exact: true }).click();
    await page.getByLabel('Name here').fill('Player 07');
    await page.getByRole('button', { name: 'Add', exact: true }).click();
    await page.locator('.bench-trouble').getByText('Player 07').waitFor();
    expect(await cutOff(page), 'error').toEqual([]);
    expect(await axeFindings(page)).toEqual([]);
    await page.locator('.help-button').first().click();
    await page.locator('dialog dl').waitFor();
    expect(await cutOff(page), 'help').toEqual([]);
    expect(await axeFindings(page)).toEqual([]);
    await page.keyboard.press('Escape');
    await page.locator('dialog dl').waitFor({ state: 'detached' });
    // Whoever came by the keyboard is where they were.
    expect(await page.evaluate('document.activeElement.className')).toBe('help-button');
    await closed(page);
  });

  test('"something hurts" on the bench ends the set that runs and says so', async () => {
    const page = await opened('bench');
    await page.getByText(/^Set runs/).waitFor();
    await page.getByRole('button', { name: 'Something hurts' }).click();
    await page.getByText('The set has ended. Why is stored nowhere.').waitFor();
    expect(await axeFindings(page)).toEqual([]);
    expect(await cutOff(page)).toEqual([]);
    await page.getByRole('button', { name: 'Back' }).click();
    await page.getByRole('button', { name: 'Start a set' }).waitFor();
    const { sets } = await ask('GET', '/api/sessions/current');
    expect(sets.every(({ endedS }: { endedS: number | null }) => endedS !== null)).toBe(true);
    await closed(page);
  });

  for (const theme of themes) {
    test(`axe finds nothing on any screen, full, ${theme}`, async () => {
      const page = await opened('court', { theme });
      await through(page, async (screen) => expect(await axeFindings(page), screen).toEqual([]));
    });
  }

  test('at 400 % nothing has to be scrolled sideways', async () => {
    // A window of 1280 × 1024 at 400 % (WCAG 2.2, 1.4.10).
    const page = await opened('court', {}, [320, 256]);
    await through(page, async (screen) => expect(await cutOff(page), screen).toEqual([]));
  });

  test('every text comes from a catalogue, and a third more of it is not cut off', async () => {
    const page = await opened('court', { language: 'pseudo' }, [390, 844]);
    await through(page, async (screen) => {
      const outside = (await textsOutside(page)).filter((text) => !/Player \d\d|Before practice|Seamwise/.test(text));
      expect(outside, screen).toEqual([]);
      expect(await cutOff(page), screen).toEqual([]);
    });
  });

  test('lists follow what is changed elsewhere, and the shots that come', async () => {
    const page = await opened('sessions');
    const row = page.locator('main tbody tr').first();
    const shots = async () => Number(/(\d+) shots?/.exec((await row.textContent()) ?? '')?.[1]);
    const before = await shots();
    const { session } = await ask('GET', '/api/sessions/current');
    await ask('PATCH', `/api/sessions/${session.id}`, { name: 'Named elsewhere' });
    await row.getByText('Named elsewhere').waitFor();
    await expect.poll(shots).toBeGreaterThan(before);
    await through(page, async () => {
      await page.getByText('Sessions: all').click();
      await page.getByText('Named elsewhere').waitFor();
      await ask('PATCH', `/api/sessions/${session.id}`, { name: 'Named once more' });
      await page.getByText('Named once more').waitFor();
      await ask('PATCH', `/api/sessions/${session.id}`, { name: '' });
    }, ['export']);
  });

  test('who wants less movement gets none', async () => {
    const context = await browser.newContext({ reducedMotion: 'reduce' });
    const page = await context.newPage();
    await page.goto(`${service.url}#bench`);
    await page.locator('.axis-picture').waitFor();
    expect(await page.locator('.axis-turning').evaluate((part) => getComputedStyle(part).animationName)).toBe('none');
    await context.close();
  });

  test('nothing goes to and fro more than three times a second, however fast the ball spun', () => {
    for (const spinRps of [0.3, 1.9, 2, 2.1, 3.3, 6.2, 9.9]) {
      expect(1 / turnS(spinRps)).toBeLessThanOrEqual(3);
      // A whole number of times slower than it was.
      const times = turnS(spinRps) * spinRps;
      expect(Math.abs(times - Math.round(times))).toBeLessThan(1e-9);
    }
  });

  test('the way from first steps to a set goes by keyboard alone', async () => {
    const page = await opened('start');
    const tabTo = async (name: RegExp): Promise<void> => {
      for (let time = 0; time < 80; time++) {
        await page.keyboard.press('Tab');
        const here = await page.evaluate<string>(
          `(document.activeElement.getAttribute('aria-label') ?? document.activeElement.textContent ?? '').trim()`,
        );
        if (!name.test(here)) continue;
        const shown = await page.evaluate<string>('getComputedStyle(document.activeElement).outlineStyle');
        expect(shown).not.toBe('none');
        return;
      }
      throw new Error(`no Tab led to ${name}`);
    };
    await tabTo(/^Next$/);
    await page.keyboard.press('Enter');
    await page.getByText('Step 2 of 4').waitFor();
    await tabTo(/^Leave all of it out$/);
    await page.keyboard.press('Enter');
    await page.locator('main[data-screen=court]').waitFor();
    await tabTo(/^Bench$/);
    await page.keyboard.press('Enter');
    await page.locator('main[data-screen=bench]').waitFor();
    await page.getByRole('button', { name: 'Start a set' }).waitFor();
    await tabTo(/^Start a set$/);
    await page.keyboard.press('Enter');
    await page.getByText(/^Set runs/).waitFor();
    await tabTo(/^End the set$/);
    await page.keyboard.press('Enter');
    await page.getByRole('button', { name: 'Start a set' }).waitFor();
    await closed(page);
  });

  test('media buttons say what became of a shot, where that is wished', async () => {
    const context = await browser.newContext();
    const page = await context.newPage();
    await page.addInitScript(`
      localStorage.setItem('seamwise-settings', '{"mediaKeys":true}');
      window.pressed = {};
      navigator.mediaSession.setActionHandler = (action, handler) => { window.pressed[action] = handler; };
    `);
    await page.goto(`${service.url}#court`);
    await page.locator('.outcome').first().waitFor();
    // Pressed while a ball is in the air it says nothing: then it is pressed again.
    await expect
      .poll(async () => {
        await page.evaluate('window.pressed.nexttrack?.()');
        const { shots } = await ask('GET', '/api/sessions/current/shots');
        return shots.filter(({ outcome }: { outcome: string }) => outcome === 'make').length;
      })
      .toBeGreaterThan(0);
    // And it is told to every page.
    const bench = await opened('bench');
    await bench.locator('[data-outcome=make]').first().waitFor();
    await closed(bench);
    await context.close();
  });

  test('the page can be installed, and opens without the service to say that it is not there', async () => {
    const page = await opened('court');
    const manifest = await (await fetch(new URL('/manifest.webmanifest', service.url))).json();
    expect(manifest).toMatchObject({ display: 'standalone', start_url: '/#court' });
    await page.evaluate('navigator.serviceWorker.ready.then(() => true)');
    await page.reload();
    await page.locator('.connection-open').waitFor();
    await settled(page);
    await page.context().setOffline(true);
    await page.reload();
    await page.locator('.connection-lost').waitFor();
    // What is said of players and shots is kept nowhere.
    const kept = await page.evaluate<string[]>(
      `caches.open('seamwise-page').then((store) => store.keys()).then((keys) => keys.map(({ url }) => new URL(url).pathname))`,
    );
    expect(kept.filter((name) => name.startsWith('/api'))).toEqual([]);
    await closed(page);
  });

  test('the first load is 120 kB at most, packed', () => {
    // The page, and every file that it names or that these load before anything is asked for.
    const html = readFileSync(path.join(built.folder, 'index.html'), 'utf8');
    const named = new Set<string>(['index.html', 'seam.svg', 'manifest.webmanifest']);
    const take = (text: string): void => {
      for (const [, file = ''] of text.matchAll(/(?:src|href)="\/(assets\/[^"]+)"/g)) named.add(file);
    };
    take(html);
    for (const file of [...named].filter((name) => name.endsWith('.js'))) {
      for (const [, other = ''] of readFileSync(path.join(built.folder, file), 'utf8').matchAll(
        /(?:^|[;}\n])import(?:[^"'()]*from)?["']\.\/([\w.-]+\.js)["']/g,
      )) {
        named.add(`assets/${other}`);
      }
    }
    expect(named.size).toBeGreaterThanOrEqual(5);
    const bytes = [...named].map((file) => gzipSync(readFileSync(path.join(built.folder, file))).length);
    expect(bytes.reduce((sum, each) => sum + each, 0)).toBeLessThanOrEqual(120_000);
    expect(readdirSync(path.join(built.folder, 'assets')).length).toBeGreaterThan(1);
  });
});
