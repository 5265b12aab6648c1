import { mkdtempSync, rmSync } from 'node:fs';
import type { AddressInfo } from 'node:net';
import os from 'node:os';
import path from 'node:path';
import { AxeBuilder } from '@axe-core/playwright';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { themes } from '../../src/dashboard/settings/page-settings.ts';
import { analysisVersion, defaultBallSettings } from '../../src/shots/shot.ts';
import { chromiumPath, noBrowser } from '../helpers/chromium.ts';
import { addRecordedSession, openResearchService, type ResearchService } from '../helpers/research-service.ts';
import { madeShot } from '../server/made-shots.ts';
import { coach } from '../sessions/database/opened-store.ts';
import { type BuiltPage, buildPage } from './built-page.ts';
import { openBrowser } from './open-browser.ts';

const executablePath = chromiumPath();
const title = executablePath === null ? `the researcher's screens (${noBrowser})` : "the researcher's screens";

const sizes = [
  [390, 844],
  [1366, 768],
  [1920, 1080],
] as const;

describe.skipIf(executablePath === null)(title, () => {
  let built: BuiltPage;
  let browser: Browser;
  let service: ResearchService;
  let folder = '';
  let base = '';
  let page: Page;
  let recorded: Awaited<ReturnType<typeof addRecordedSession>>;
  const complaints: string[] = [];

  beforeAll(async () => {
    built = await buildPage();
    folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-research-'));
    service = await openResearchService(folder, { pageFolder: built.folder });
    // A stretch in the middle of a flight is lost.
    recorded = await addRecordedSession(
      service,
      'Recorded',
      'free-throw-swish',
      (index) => index >= 165 && index < 172,
    );
    const words = {
      name: 'Simulated',
      timeZone: 'UTC',
      simulated: true,
      recording: null,
      settings: defaultBallSettings,
    };
    await service.store.sessions.end(coach, await service.store.sessions.start(coach, words));
    await service.server.listen({ host: '127.0.0.1', port: 0 });
    base = `http://127.0.0.1:${(service.server.server.address() as AddressInfo).port}/`;
    browser = await openBrowser();
    const context = await browser.newContext({ viewport: { width: 1366, height: 768 }, acceptDownloads: true });
    page = await context.newPage();
    page.on('pageerror', (error) => complaints.push(error.message));
    await page.goto(base);
  });
  afterAll(async () => {
    await browser?.close();
    await service?.close();
    built?.remove();
    rmSync(folder, { recursive: true, force: true });
  });

  const sound = async (): Promise<void> => {
    for (const theme of themes) {
      await page.evaluate(`document.documentElement.dataset.theme = ${JSON.stringify(theme)}`);
      const { violations } = await new AxeBuilder({ page })
        .withTags(['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'])
        .analyze();
      expect(
        violations.flatMap(({ id, nodes }) => nodes.map(({ html }) => `${theme} ${id}: ${html.slice(0, 160)}`)),
      ).toEqual([]);
    }
    for (const [width, height] of sizes) {
      await page.setViewportSize({ width, height });
      await expect.poll(() => page.evaluate('document.documentElement.scrollWidth')).toBe(width);
    }
    await page.setViewportSize({ width: 1366, height: 768 });
  };
  const row = (phase: string) => page.locator(`tr[data-phase=${phase}]`);

  test('from the list a session is opened and its signals shown, by keys alone', async () => {
    await page.goto(`${base}#sessions`);
    await page.getByText('Recorded').waitFor();
    await page.locator('tr', { hasText: 'Recorded' }).getByRole('link').focus();
    await page.keyboard.press('Enter');
    await page.getByRole('link', { name: 'Show the signals' }).focus();
    await page.keyboard.press('Enter');
    await page.locator('.chart-strip canvas').first().waitFor();
    await page.getByText('Shot 1 of 2').waitFor();
    const where = page.locator('.stage-where span');
    const shown = async () => (await where.textContent()) ?? '';
    const stage = page.locator('.stage');
    await stage.focus();
    for (const key of ['ArrowRight', '+', '-', 'Home', 'n', 'PageDown']) {
      const before = await shown();
      await stage.press(key);
      await expect.poll(shown).not.toBe(before);
    }
    await stage.press('p');
    await page.getByText('Shot 1 of 2').waitFor();
  });

  test('where samples are missing nothing is drawn but the lines behind', async () => {
    // Colours of the pixels in columns of the first chart: within the gap that was made, and beside it.
    const colours = (inGap: boolean) =>
      page.evaluate((wantGap) => {
        const canvas = document.querySelector<HTMLCanvasElement>('.chart-strip canvas');
        const bars = [...document.querySelectorAll<HTMLElement>('.gap-bar')];
        const widest = bars.toSorted((a, b) => b.getBoundingClientRect().width - a.getBoundingClientRect().width);
        const bar = widest.find((each) => {
          const { left, right } = each.getBoundingClientRect();
          return right - left > 12 && left > 60 && right < innerWidth - 120;
        });
        if (!canvas || !bar) return null;
        const { left, width } = canvas.getBoundingClientRect();
        const gap = bar.getBoundingClientRect();
        const scale = canvas.width / width;
        const [from, until] = wantGap ? [gap.left + 3, gap.right - 3] : [gap.right + 3, gap.right + 60];
        const context = canvas.getContext('2d') as CanvasRenderingContext2D;
        const at = Math.round((from - left) * scale);
        const { data } = context.getImageData(at, 0, Math.max(1, Math.round((until - from) * scale)), canvas.height);
        const rule = document.createElement('canvas').getContext('2d') as CanvasRenderingContext2D;
        rule.fillStyle = getComputedStyle(canvas).getPropertyValue('--rule');
        rule.fillRect(0, 0, 1, 1);
        const [r = 0, g = 0, b = 0] = rule.getImageData(0, 0, 1, 1).data;
        let others = 0;
        for (let i = 0; i < data.length; i += 4) {
          const [red = 0, green = 0, blue = 0, alpha = 0] = data.slice(i, i + 4);
          if (alpha > 40 && Math.abs(red - r) + Math.abs(green - g) + Math.abs(blue - b) > 90) others += 1;
        }
        return others;
      }, inGap);
    // Two turns of the wheel away from all: the gap is then some dozen pixels wide.
    await page.locator('.stage').press('Home');
    const drawn = async () => [await colours(true), ((await colours(false)) ?? 0) > 20];
    await expect.poll(drawn).toEqual([0, true]);
  });

  test('a time is set by keys and by dragging, stands beside the analysis, is undone and taken back', async () => {
    await page.getByRole('button', { name: 'Next shot' }).click();
    await page.locator('.stage').press('p');
    await page.getByText('Shot 1 of 2').waitFor();
    const release = page.getByRole('slider', { name: 'release' });
    const automatic = await row('release').locator('td').first().textContent();
    await release.focus();
    for (let i = 0; i < 3; i++) await release.press('ArrowRight');
    await row('release')
      .getByText(/\+(14\.9|15\.\d) ms/)
      .waitFor();
    expect(await row('release').locator('td').first().textContent()).toBe(automatic);
    expect(await release.getAttribute('aria-valuetext')).toMatch(/\+(14\.9|15\.\d) ms/);
    await release.press('ArrowLeft');
    await release.press('Escape');
    await row('release')
      .getByText(/\+(14\.9|15\.\d) ms/)
      .waitFor();

    const box = await page.getByRole('slider', { name: 'contact' }).boundingBox();
    if (!box) throw new Error('no flag');
    await page.mouse.move(box.x + 8, box.y + 8);
    await page.mouse.down();
    await page.mouse.move(box.x + 48, box.y + 8, { steps: 4 });
    await page.mouse.up();
    await row('contact')
      .getByText(/\+\d+\.\d ms/)
      .waitFor();
    await page.getByRole('button', { name: 'Undo the last change here' }).click();
    await expect
      .poll(() =>
        row('contact')
          .getByText(/\+\d+\.\d ms/)
          .count(),
      )
      .toBe(0);
    await row('release').getByRole('button', { name: 'release one sample later' }).click();
    // The sensor's own rate is a little off 200 Hz.
    await row('release')
      .getByText(/\+(19\.9|20\.\d) ms/)
      .waitFor();

    await page.getByRole('link', { name: 'Back to the session' }).click();
    await page.getByRole('columnheader', { name: 'Times by hand' }).waitFor();
    await page.getByText('release +20 ms').waitFor();
    await page.goBack();
    await row('release').getByRole('button', { name: 'Take back release' }).click();
    await expect
      .poll(() =>
        row('release')
          .getByText(/\+(19\.9|20\.\d) ms/)
          .count(),
      )
      .toBe(0);
  });

  test('marks are set, named and removed, and the numbers behind the lines are shown', async () => {
    await page.getByRole('button', { name: 'Mark the middle of the view' }).click();
    const name = page.getByLabel('Name of the mark');
    await name.fill('clap');
    await name.press('Enter');
    await page.locator('.line-mark b', { hasText: 'clap' }).first().waitFor({ state: 'attached' });
    await page.getByText('Numbers of the view').click();
    await page.locator('.signal-table tbody tr').nth(10).waitFor();
    await sound();
    await page.getByRole('button', { name: 'Remove the mark clap' }).click();
    await page.getByText('No mark yet').waitFor();
  });

  test('a session without a recording says so, on its page and where its signals would be', async () => {
    const [simulated] = (await service.store.sessions.list()).filter(({ recording }) => recording === null);
    await page.goto(`${base}#session=${simulated?.id}`);
    await page.getByText('This session has no recording.').waitFor();
    await page.goto(`${base}#signals=${simulated?.id}`);
    await page.getByText('what the simulated shooter sends is not recorded').waitFor();
    await sound();
  });

  test('a recording is gone through again from its session, and old numbers stand beside new ones', async () => {
    await page.goto(`${base}#session=${recorded.sessionId}`);
    await page.getByRole('button', { name: 'Go through it again' }).click();
    await page.getByText(/Done: 2 found again/).waitFor();
    await page.getByText('Old and new numbers').click();
    await page.getByRole('columnheader', { name: /^before/ }).waitFor();
    await sound();
  });

  const csv = (head: string, rows: number): string =>
    [head, ...Array.from({ length: rows }, (_, i) => `${(i / 200).toFixed(4)},0,0,9.81,0,0,0.1`), ''].join('\n');
  const drop = async (name: string, text: string): Promise<void> => {
    const data = await page.evaluateHandle(
      ([file, content]) => {
        const transfer = new DataTransfer();
        transfer.items.add(new File([content ?? ''], file ?? '', { lastModified: 1_760_000_000_000 }));
        return transfer;
      },
      [name, text],
    );
    await page.dispatchEvent('.drop', 'drop', { dataTransfer: data });
  };

  test('files are dragged in, named what they lack, and imported all or not at all', async () => {
    await page.goto(`${base}#import`);
    await page.getByText('Drop files here').waitFor();
    await sound();
    await drop('odd.csv', 'Zeit;x;y\n1;2;3\n');
    await page.getByRole('button', { name: 'Import', exact: true }).click();
    await page.getByText('Say where the sensor of odd.csv was.').waitFor();
    await page.locator('.file-line select').first().selectOption('ball');
    await page.getByRole('button', { name: 'Import', exact: true }).click();
    await page.getByText(/Nothing was kept\..*odd\.csv.*expected/).waitFor();
    await sound();
    await page.getByRole('button', { name: 'Leave out odd.csv' }).click();
    // Another program's names: the page asks what they are.
    await drop('ball.csv', csv('Moment,AccX,AccY,AccZ,GyrX,GyrY,GyrZ', 800));
    await page.getByRole('button', { name: 'Import', exact: true }).click();
    await page.getByText('Choose the columns of ball.csv').waitFor();
    await page.locator('.columns-form select').first().selectOption('Moment');
    await page.getByLabel('When its time was 0').fill('2026-11-20T18:00');
    await page.getByLabel('Name of the session').fill('Dragged in');
    await sound();
    await page.getByRole('button', { name: 'Import', exact: true }).click();
    await page.getByText('Kept as a session with 0 shots.').waitFor();
    await page.getByRole('link', { name: 'Open the session' }).click();
    await page.getByRole('heading', { name: /^Dragged in/ }).waitFor();
    const names = (await service.store.sessions.list()).map((session) => session.name);
    expect(names.toSorted()).toEqual(['Dragged in', 'Recorded', 'Simulated']);
  });

  test('an export says what stays and why, and is downloaded', async () => {
    const playerId = await service.store.players.add(coach, { pseudonym: 'Player 07' });
    await service.store.players.giveConsent(coach, playerId, 'record', 'parent');
    await service.store.shots.assign(coach, recorded.shotIds.slice(0, 1), playerId);
    await page.goto(`${base}#export`);
    await page.getByText('Player 07: 1 shot stays').waitFor();
    await page.getByText('1 shot stays: nobody is named for them.').waitFor();
    expect(await page.getByRole('button', { name: 'Make the export' }).isDisabled()).toBe(true);
    await page.getByLabel('Condition').fill('hop');
    await page.getByText('Expected a condition and its level').waitFor();
    await page.getByLabel('Condition').fill('');
    await page.getByLabel('shots that nobody is named for too').check();
    await page.getByText('1 shot of 1 session and 0 named players goes out.').waitFor();
    await page.getByLabel('calibrated samples').check();
    await sound();
    await page.getByRole('button', { name: 'Make the export' }).click();
    const link = page.getByRole('link', { name: 'Download as one ZIP archive' });
    await link.waitFor();
    await sound();
    const [download] = await Promise.all([page.waitForEvent('download'), link.click()]);
    expect(download.suggestedFilename()).toBe('seamwise-export.zip');
    expect(await download.failure()).toBeNull();
    expect(complaints).toEqual([]);
  });

  test('a practice of many shots shows the newest hundred, and earlier ones when they are wished for', async () => {
    const startedS = 1_764_100_000;
    const { sensorId } = recorded;
    const sessionId = await service.store.importSession(coach, {
      ...{ name: 'Long', startedS, endedS: startedS + 1200, timeZone: 'UTC', simulated: true, recording: null },
      ...{ settings: defaultBallSettings, analysisVersion, parameters: {}, marks: [] },
      sensors: [{ id: sensorId, description: '', placement: 'ball' }],
      shots: Array.from({ length: 130 }, (_, index) => {
        return { sensorId, playerId: null, streamIndex: 0, atS: startedS + 8 * index, shot: madeShot(index) };
      }),
    });
    await page.goto(`${base}#session=${sessionId}`);
    const rows = page.locator('tr[data-chosen]');
    await rows.nth(99).waitFor();
    expect(await rows.count()).toBe(100);
    expect(await rows.first().locator('th').textContent()).toContain('130');
    await page.getByRole('button', { name: 'Earlier ones (30 more shots)' }).click();
    await expect.poll(() => rows.count()).toBe(130);
    expect(await rows.last().locator('th').textContent()).toContain('1');
  });
});
