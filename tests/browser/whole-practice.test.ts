import { type ChildProcess, execFile, spawn } from 'node:child_process';
import { once } from 'node:events';
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import { promisify } from 'node:util';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { chromiumPath, noBrowser } from '../helpers/chromium.ts';
import { freePort } from '../helpers/free-port.ts';
import { projectRoot } from '../helpers/project-root.ts';
import { type BuiltPage, buildPage } from './built-page.ts';
import { openBrowser } from './open-browser.ts';

const executablePath = chromiumPath();
const title = executablePath === null ? `a practice from end to end (${noBrowser})` : 'a practice from end to end';

describe.skipIf(executablePath === null)(title, () => {
  let built: BuiltPage;
  let browser: Browser;
  let folder = '';
  let child: ChildProcess | null = null;
  const complaints: string[] = [];

  const serve = async (port: string, seed: string): Promise<string> => {
    const script = fileURLToPath(new URL('./serve-process.ts', import.meta.url));
    const words = ['--import', 'tsx', script, built.folder, path.join(folder, 'data'), port, seed];
    const started = spawn(process.execPath, words, { cwd: projectRoot, stdio: ['ignore', 'pipe', 'inherit'] });
    child = started;
    const [line] = (await once(started.stdout, 'data')) as [Buffer];
    return String(line).trim();
  };
  const kill = async (): Promise<void> => {
    if (child === null || child.exitCode !== null || child.signalCode !== null) return;
    const ended = once(child, 'exit');
    child.kill('SIGKILL');
    await ended;
  };
  const newPage = async (): Promise<Page> => {
    const page = await (await browser.newContext({ viewport: { width: 1366, height: 768 } })).newPage();
    page.on('pageerror', (error) => complaints.push(error.message));
    return page;
  };
  const rows = (page: Page): Promise<(string | null)[]> =>
    page.locator('tr[data-stored]').evaluateAll((found) => found.map((row) => row.getAttribute('data-stored')));

  beforeAll(async () => {
    built = await buildPage();
    browser = await openBrowser();
    folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-whole-practice-'));
  });
  afterAll(async () => {
    await kill();
    await browser?.close();
    built?.remove();
    rmSync(folder, { recursive: true, force: true });
  });

  test('first run, player, set, shots, tags, other conditions, a killed service, end, history and export', async () => {
    const url = await serve(String(await freePort()), '1');
    const page = await newPage();
    await page.goto(url);
    // The data folder is empty: the first steps come by themselves.
    await page.locator('main[data-screen=start]').waitFor();
    await page.getByLabel('turns a minute').check();
    await page.getByRole('button', { name: 'Next' }).click();
    await page.getByLabel('Name here').fill('Player 07');
    await page.getByLabel('Who agreed').selectOption('parent');
    await page.getByLabel('may go out to a researcher').check();
    await page.getByRole('button', { name: 'Add', exact: true }).click();
    await page.getByText('Here already: Player 07').waitFor();
    await page.getByRole('button', { name: 'Next' }).click();
    await page.locator('.sensors li').first().waitFor();
    await page.getByRole('button', { name: 'Next' }).click();
    await page.getByText('needs none of it').waitFor();
    await page.getByRole('link', { name: 'To the bench' }).click();

    const other = await newPage();
    await other.goto(`${url}#bench`);
    const chooser = (at: Page) => at.locator('fieldset.tap-list').first();
    await chooser(page).getByRole('button', { name: 'Player 07' }).click();
    await chooser(other).locator('[aria-pressed=true]').getByText('Player 07').waitFor();
    await page.getByLabel('Conditions').fill('footwork = hop');
    await page.getByRole('button', { name: 'Start a set' }).click();
    await other.getByText('Set runs: drill, footwork = hop').waitFor();

    const stored = (at: Page, count: number) =>
      at
        .locator('tr[data-stored]')
        .nth(count - 1)
        .waitFor();
    // The shooter may have shot before anybody was chosen: that shot is nobody's.
    const early = (await rows(page)).length;
    await stored(page, early + 1);
    await stored(other, early + 1);
    await page.locator('body').press('m');
    await page.locator('[data-outcome=make]').first().waitFor();
    await other.locator('[data-outcome=make]').first().waitFor();

    await other.getByRole('button', { name: 'End the set' }).click();
    await page.getByLabel('Conditions').fill('footwork = one-two');
    await page.getByRole('button', { name: 'Start a set' }).click();
    await other.getByText('Set runs: drill, footwork = one-two').waitFor();
    const before = await rows(page);
    await stored(page, before.length + 1);

    const told = await rows(page);
    const { port } = new URL(url);
    await kill();
    await page.locator('.connection-lost').waitFor();
    await serve(port, '3');
    for (const at of [page, other]) {
      await at.locator('.connection-open').waitFor();
      // The practice that runs now is another one; the page goes on with it by itself.
      await expect.poll(async () => (await rows(at)).some((id) => told.includes(id))).toBe(false);
      await stored(at, 1);
    }

    // Nothing that was told is missing or there twice.
    await page.getByRole('link', { name: 'Sessions' }).click();
    await page.locator('tr[data-session]').nth(1).waitFor();
    await page.locator('tr[data-session]').nth(1).getByRole('link').first().click();
    await stored(page, told.length);
    const kept = await rows(page);
    expect(new Set(kept).size).toBe(kept.length);
    for (const id of told) expect(kept).toContain(id);
    await page.locator('.set-list').getByText('footwork = hop').waitFor();
    await page.locator('.set-list').getByText('footwork = one-two').waitFor();
    await page.locator('[data-outcome=make]').first().waitFor();

    await kill();
    const out = path.join(folder, 'out');
    const command = ['--import', 'tsx', 'src/cli/main.ts', 'export', out, '--player', 'Player 07', '--unnamed'];
    const { PATH } = process.env;
    await promisify(execFile)(process.execPath, command, {
      cwd: projectRoot,
      env: { ...(PATH === undefined ? {} : { PATH }), SEAMWISE_DATA: path.join(folder, 'data') },
    }).catch((error: unknown) => {
      throw new Error(`export: ${String((error as { stderr?: string }).stderr ?? error)}`);
    });
    const shots = readFileSync(path.join(out, 'shots.csv'), 'utf8');
    expect(shots).toContain('make');
    expect(shots).not.toContain('Player 07');
    expect(complaints).toEqual([]);
  });
});
