import { type ChildProcess, spawn } from 'node:child_process';
import { once } from 'node:events';
import { mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { chromiumPath, noBrowser } from '../helpers/chromium.ts';
import { freePort } from '../helpers/free-port.ts';
import { projectRoot } from '../helpers/project-root.ts';
import { type BuiltPage, buildPage } from './built-page.ts';
import { openBrowser } from './open-browser.ts';

const executablePath = chromiumPath();
const title = executablePath === null ? `from the sensor to the page (${noBrowser})` : 'from the sensor to the page';

interface Served {
  readonly child: ChildProcess;
  readonly url: string;
}

async function serve(pageFolder: string, dataFolder: string, port: string, seed: string): Promise<Served> {
  const script = fileURLToPath(new URL('./serve-process.ts', import.meta.url));
  const words = ['--import', 'tsx', script, pageFolder, dataFolder, port, seed];
  const child = spawn(process.execPath, words, { cwd: projectRoot, stdio: ['ignore', 'pipe', 'inherit'] });
  const [line] = (await once(child.stdout, 'data')) as [Buffer];
  return { child, url: String(line).trim() };
}

async function kill({ child }: Served): Promise<void> {
  if (child.exitCode !== null || child.signalCode !== null) return;
  const ended = once(child, 'exit');
  child.kill('SIGKILL');
  await ended;
}

/** Encoded notifications of the simulated shooter, in real time, through parser, clock, analysis and service. */
describe.skipIf(executablePath === null)(title, () => {
  let built: BuiltPage;
  let browser: Browser;
  let dataFolder = '';
  let served: Served | null = null;

  beforeAll(async () => {
    built = await buildPage();
    browser = await openBrowser();
    dataFolder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-whole-way-'));
  });
  afterAll(async () => {
    if (served) await kill(served);
    await browser?.close();
    built?.remove();
    rmSync(dataFolder, { recursive: true, force: true });
  });

  const shotIds = (page: Page, stage: string): Promise<(string | null)[]> =>
    page
      .locator(`tr.shot[data-stage=${stage}]`)
      .evaluateAll((found) => found.map((row) => row.getAttribute('data-shot-id')));

  test('a simulated shot comes, early and final, survives a killed service, and the next run goes on', async () => {
    served = await serve(built.folder, dataFolder, String(await freePort()), '1');
    const page = await browser.newPage();
    await page.goto(`${served.url}#live`);
    await page.locator('.simulated').waitFor();
    await page.locator('.latest[data-stage=early]').waitFor();
    // Until the next one is in the air.
    await page
      .locator('.latest[data-stage=final] [data-measure=launchAngleDeg]', { hasText: /\d\d\.\d°± \d/ })
      .waitFor();
    const first = (await shotIds(page, 'final')).at(-1);
    await page.locator('.sensors li', { hasText: 'sending' }).waitFor();

    const { port } = new URL(served.url);
    await kill(served);
    await page.locator('.connection-lost').waitFor();
    served = await serve(built.folder, dataFolder, port, '3');
    await page.locator('.connection-open').waitFor();
    await page.locator('tr.shot[data-stage=final]').nth(1).waitFor();
    const finals = await shotIds(page, 'final');
    expect(finals.at(-1)).toBe(first);
    expect(new Set(finals).size).toBe(finals.length);

    // A page that is opened now gets the same shots.
    const second = await browser.newPage();
    await second.goto(`${served.url}#live`);
    await second.locator('tr.shot[data-stage=final]').nth(1).waitFor();
    expect(await shotIds(second, 'final')).toEqual(expect.arrayContaining(finals));
    await second.close();
    await page.close();
  });
});
