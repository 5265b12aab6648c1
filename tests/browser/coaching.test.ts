import { mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { AxeBuilder } from '@axe-core/playwright';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { drillLibrary } from '../../src/coaching/drills.ts';
import { measured } from '../../src/foundation/measured.ts';
import { databaseFile } from '../../src/server/practice/practice-keeper.ts';
import { startService } from '../../src/server/service.ts';
import type { RunningService } from '../../src/server/service-options.ts';
import { ClubStore } from '../../src/sessions/database/club-store.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';
import { chromiumPath, noBrowser } from '../helpers/chromium.ts';
import { madeShot } from '../server/made-shots.ts';
import { coach } from '../sessions/database/opened-store.ts';
import { type BuiltPage, buildPage } from './built-page.ts';
import { openBrowser } from './open-browser.ts';
import { textsOutside } from './page-checks.ts';

const executablePath = chromiumPath();
const title = executablePath === null ? `the coach's loop (${noBrowser})` : "the coach's loop";

const startS = 1_764_000_000;
const dayS = 86_400;
const drill = drillLibrary.find(({ name }) => name === 'up-at-once')!;

/**
 * A club with a player whose ball stops for 0.2 s on its way up, seen in two practices; and one who had the same, was given a drill, and
 * went from 0.2 s before it to 0.1 s after.
 */
async function makeClub(dataFolder: string): Promise<void> {
  let nowS = startS;
  const store = await ClubStore.open({ file: path.join(dataFolder, databaseFile), nowS: () => nowS });
  const players: string[] = [];
  for (const pseudonym of ['Player 07', 'Player 08']) {
    const id = await store.players.add(coach, { pseudonym });
    await store.players.giveConsent(coach, id, 'record', 'the player');
    players.push(id);
  }
  const [paused = '', mended = ''] = players;
  let index = 0;
  const shoot = async (sessionId: string, setId: string | null, playerId: string, pauseS: number): Promise<void> => {
    for (let shot = 0; shot < 20; shot++) {
      const made = madeShot(index++);
      const wave = 0.012 * Math.sin(2.4 * index);
      const measures = { ...made.measures, pauseS: measured(pauseS + wave, 0.004) };
      nowS += 20;
      const place = { sessionId, setId, playerId, sensorId: null, streamIndex: 0, atS: nowS };
      await store.shots.add(place, { shot: { ...made, measures }, analysisVersion: '1', parameters: {} });
    }
  };
  const session = (name: string): Promise<string> =>
    store.sessions.start(coach, { name, timeZone: 'UTC', simulated: true, recording: null, settings: {} });
  for (const day of [0, 1]) {
    nowS = startS + day * dayS;
    const id = await session(`practice ${day}`);
    const setId = await store.sessions.startSet(coach, id, { player_id: paused, name: `corner ${day}` });
    await shoot(id, setId, paused, 0.2);
    await store.sessions.changeSet(coach, setId, { ended: true });
    await store.sessions.end(coach, id);
  }
  nowS = startS;
  const prescription = await store.prescriptions.add(coach, {
    ...{ playerId: mended, fault: 'two-part', drill, measure: 'pauseS', faultSide: 1, smallestChange: 0.03 },
    ...{ namedS: nowS, retentionDueS: null, notes: '' },
  });
  const roles = [...Array(4).fill('baseline'), ...Array(3).fill('drill'), ...Array(8).fill('retest')];
  for (const [i, role] of roles.entries()) {
    nowS = startS + (i + 2) * dayS;
    const id = await session('');
    const block = await store.prescriptions.startBlock(coach, prescription, id, { role, spot: '', distanceM: null });
    const { set_id: setId } = (await store.prescriptions.blocks(prescription)).find((one) => one.id === block)!;
    await shoot(id, setId, mended, (role === 'baseline' ? 0.2 : 0.1) + 0.004 * Math.sin(5 * i));
    await store.prescriptions.endBlock(coach, block, true);
    await store.sessions.end(coach, id);
  }
  await store.close();
}

describe.skipIf(executablePath === null)(title, () => {
  let built: BuiltPage;
  let browser: Browser;
  let service: RunningService;
  let dataFolder = '';
  let page: Page;
  const complaints: string[] = [];

  beforeAll(async () => {
    built = await buildPage();
    dataFolder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-coaching-'));
    await makeClub(dataFolder);
    service = await startService({
      ...{ version: '1.2.3', port: 0, dataFolder, pageFolder: built.folder, settings: defaultBallSettings, seed: 5 },
    });
    browser = await openBrowser();
    const context = await browser.newContext({ viewport: { width: 1366, height: 768 } });
    page = await context.newPage();
    page.on('pageerror', (error) => complaints.push(error.message));
    await page.goto(`${service.url}#coaching`);
  });
  afterAll(async () => {
    await browser?.close();
    await service?.close();
    built?.remove();
    rmSync(dataFolder, { recursive: true, force: true });
  });

  test('the fault is named with what was seen, and a drill is prescribed', async () => {
    await page.locator('.coaching select[name=player]').selectOption({ label: 'Player 07' });
    const finding = page.locator('[data-fault=two-part][data-state=named]');
    await finding.getByText('The ball stops on its way up').waitFor();
    await finding.getByText(/Clear since shot \d+/).waitFor();
    await finding.getByText('Up at once').click();
    await finding.locator('svg.drill-picture').first().waitFor();
    await finding.getByRole('button', { name: 'Prescribe' }).first().click();
    await page.locator('[data-prescription] [data-verdict=not-enough]').waitFor();
  });

  test('a drill of the coach’s own is added, stands at the fault, is changed and taken out of use', async () => {
    const panel = page.locator('section.panel', { has: page.locator('#own-drills-title') });
    await panel.getByText('Add a drill').click();
    const form = panel.locator('form').last();
    await form.getByLabel('Name', { exact: true }).fill('Elevator');
    await form.getByLabel('What it is for').fill('The ball goes up without a stop.');
    await form.getByLabel('How to do it').fill('Take the ball low.\nSend it up at once.');
    await form.getByLabel('Measure that should move').selectOption({ label: 'Pause' });
    await form.getByLabel('By at least').fill('0.05');
    await form.getByRole('button', { name: 'Keep this drill' }).click();
    await form.getByText('Expected one thing at least').waitFor();
    await form.getByLabel('The ball stops on its way up').check();
    await form.getByRole('button', { name: 'Keep this drill' }).click();
    const own = panel.locator('[data-own-drill]');
    await own.getByText('Elevator').first().waitFor();
    const finding = page.locator('[data-fault=two-part]');
    await finding.getByText('Elevator').waitFor();
    await own.getByText('Change “Elevator”').click();
    await own.getByLabel('Name', { exact: true }).fill('Elevator with a song');
    await own.getByRole('button', { name: 'Keep this drill' }).click();
    await finding.getByText('Elevator with a song').waitFor();
    // It stands open still.
    await own.getByRole('button', { name: 'Take out of use' }).click();
    await panel.getByText('No drill of your own yet.').waitFor();
    await expect.poll(() => finding.getByText('Elevator with a song').count()).toBe(0);
  });

  test('a block is shot in the running practice', async () => {
    // A practice begins with the first shot of the simulated shooter.
    await page.locator('[data-prescription]').waitFor();
    const sessions = async () => (await (await page.request.get(`${service.url}api/sessions`)).json()).sessions;
    await expect.poll(async () => (await sessions())[0].endedS).toBeNull();
    const start = page.getByRole('button', { name: 'Start a block: Before the drill' });
    await start.click();
    await page.getByRole('button', { name: 'End the block' }).waitFor();
    expect(await page.locator('.coaching > .bench-trouble').textContent()).toBe('');
    await page.getByText(/[1-9]\d* of [1-9]\d* measured/).waitFor();
    await page.getByRole('button', { name: 'End the block' }).click();
    await start.waitFor();
  });

  test('a drill that worked is told as changed, with its size', async () => {
    await page.locator('.coaching select[name=player]').selectOption({ label: 'Player 08' });
    const verdict = page.locator('[data-verdict=changed]');
    await verdict.getByText('Changed').waitFor();
    expect(await verdict.textContent()).toMatch(/−0\.1/);
  });

  test('a band is set by hand and taken away', async () => {
    await page.getByText('Bands of this player').click();
    await page.locator('details.panel form.inline-form select[name=measure]').selectOption({ label: 'Entry angle' });
    await page.getByLabel('No less than').fill('41');
    await page.getByRole('button', { name: 'Set by hand' }).click();
    const row = page.locator('tr[data-band=entryAngleDeg]');
    await row.getByText('set by the coach').waitFor();
    expect(await row.textContent()).toContain('from 41');
    await row.getByRole('button', { name: 'Take away' }).click();
    await row.getByText('usual').waitFor();
  });

  test('the best sets of a player are chosen and make the bands', async () => {
    await page.locator('.coaching select[name=player]').selectOption({ label: 'Player 07' });
    const panel = page.locator('details.panel', { hasText: 'Bands of this player' });
    if ((await panel.getAttribute('open')) === null) await panel.locator('summary').click();
    for (const name of ['corner 0', 'corner 1']) await panel.getByLabel(new RegExp(`${name}, 20 shots`)).check();
    await panel.getByRole('button', { name: 'These are the best ones' }).click();
    const row = page.locator('tr[data-band=pauseS]');
    await row.getByText('own best sets').waitFor();
    // What the player's own shots do is the player's own level now: 0.2 s and more, no longer the usual tenth.
    expect(Number(/up to (0\.\d+)/.exec((await row.textContent()) ?? '')?.[1])).toBeGreaterThan(0.2);
    await panel.getByLabel(/corner 1, 20 shots/).uncheck();
    await panel.getByRole('button', { name: 'These are the best ones' }).click();
    await row.getByText('usual').waitFor();
  });

  test('a study is planned, begun and asked', async () => {
    await page.getByText('Plan a study').click();
    await page.getByLabel('Question').fill('Hop or step');
    await page.getByLabel('What is varied').fill('footwork');
    await page.getByLabel('Conditions, with commas').fill('hop, step');
    await page.getByLabel('Player 07', { exact: true }).check();
    await page.getByRole('button', { name: 'Draw the order' }).click();
    const study = page.locator('[data-study]');
    await study.getByText(/Next: “(hop|step)”, Player 07/).waitFor();
    await study.getByRole('button', { name: 'Start this set' }).click();
    await study.getByText('1 of 12 sets').waitFor();
    await study.getByRole('button', { name: 'What does it say?' }).click();
    await study.getByRole('status').waitFor();
    const link = await study.getByRole('link', { name: 'For research' }).getAttribute('href');
    const report = await page.request.get(new URL(link ?? '', service.url).href);
    expect(report.status()).toBe(200);
    expect(await report.text()).toMatch(/Hop or step[\s\S]*Nothing to say yet/);
    await study.getByRole('button', { name: 'Close the study' }).click();
    await expect.poll(() => study.getByText('Next:').count()).toBe(0);
  });

  test('the reports open from here, each alone', async () => {
    await page.locator('.coaching select[name=player]').selectOption({ label: 'Player 08' });
    await page.locator('[data-verdict=changed]').waitFor();
    const href = await page.getByRole('link', { name: 'For parents' }).first().getAttribute('href');
    const answer = await page.request.get(new URL(href ?? '', service.url).href);
    expect(answer.status()).toBe(200);
    expect(answer.headers()['content-security-policy']).toContain("default-src 'none'");
    const text = await answer.text();
    expect(text).toContain('Player 08 over time');
    expect(text).toContain('It changed for the better');
  });

  test('what the service words goes through the catalogue of the page', async () => {
    const other = await page.context().newPage();
    await other.addInitScript(`localStorage.setItem('seamwise-settings', '{"language":"pseudo"}')`);
    await other.goto(`${service.url}#coaching`);
    for (const label of ['Player 07', 'Player 08']) {
      await other.locator('.coaching select[name=player]').selectOption({ label });
      await other.locator('[data-prescription]').first().waitFor();
      // What people wrote, and days.
      const data = /Player \d\d|corner \d|Seamwise|Hop or step|^footwork$|^hop, step$|^\d{4}-\d\d-\d\d$/;
      const outside = (await textsOutside(other)).filter((text) => !data.test(text));
      expect(outside, label).toEqual([]);
    }
    expect(await other.locator('[data-prescription] h4').first().textContent()).toMatch(/^⟦/);
    await other.evaluate(`localStorage.removeItem('seamwise-settings')`);
    await other.close();
  });

  test('keeps who was chosen while another screen is looked at', async () => {
    const player = page.locator('.coaching select[name=player]');
    await player.selectOption({ label: 'Player 08' });
    await page.goto(`${service.url}#bench`);
    await player.waitFor({ state: 'detached' });
    await page.goto(`${service.url}#coaching`);
    const shown = (on: Page) => on.locator('.coaching select[name=player] option:checked').textContent();
    await expect.poll(() => shown(page)).toBe('Player 08');
  });

  test.each(['light', 'dark', 'contrast'])(
    'has no finding of axe in %s, at three sizes nothing runs out sideways',
    async (theme) => {
      await page.evaluate(`document.documentElement.dataset.theme = '${theme}'`);
      const { violations } = await new AxeBuilder({ page })
        .withTags(['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'])
        .analyze();
      expect(violations.flatMap(({ id, nodes }) => nodes.map(({ html }) => `${id}: ${html.slice(0, 140)}`))).toEqual(
        [],
      );
      for (const [width, height] of [
        [390, 844],
        [1366, 768],
        [1920, 1080],
      ] as const) {
        await page.setViewportSize({ width, height });
        await expect.poll(() => page.evaluate('document.documentElement.scrollWidth')).toBe(width);
      }
      expect(complaints).toEqual([]);
    },
  );
});
