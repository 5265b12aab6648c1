import { createHash } from 'node:crypto';
import { readFileSync } from 'node:fs';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { systemClock } from '../../src/devices/system-clock.ts';
import { silentLogger } from '../../src/foundation/logger.ts';
import { noSetup } from '../../src/live/sensor-setup.ts';
import { startHub } from '../../src/server/hub/start-hub.ts';
import { HubWorker } from '../../src/server/hub/work/hub-worker.ts';
import type { RunningService } from '../../src/server/service-options.ts';
import { ClubStore } from '../../src/sessions/database/club-store.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';
import { chromiumPath, noBrowser } from '../helpers/chromium.ts';
import { hasPostgres, noPostgres, sharedCluster } from '../helpers/postgres-cluster.ts';
import { addRecordedSession } from '../helpers/research-service.ts';
import { tempFolder } from '../helpers/temp-folder.ts';
import { coach } from '../sessions/database/opened-store.ts';
import { handOver } from '../sessions/hub/court-and-hub.ts';
import { type BuiltPage, buildPage } from './built-page.ts';
import { openBrowser } from './open-browser.ts';
import { axeFindings, cutOff, textsOutside } from './page-checks.ts';

const executablePath = chromiumPath();
const skipped = executablePath === null ? noBrowser : hasPostgres ? null : noPostgres;
const title = `the work of a hub on its page${skipped === null ? '' : ` (${skipped})`}`;
const sizes = [
  [390, 844, 'dark'],
  [1366, 768, 'light'],
  [1920, 1080, 'contrast'],
] as const;
const nowS = () => systemClock.nowS();

/** Hands a recording over in pieces, as a court's uploader does. */
async function handRecording(hub: ClubStore, from: string, sessionId: string, content: Uint8Array): Promise<void> {
  const sha256 = (bytes: Uint8Array) => createHash('sha256').update(bytes).digest('hex');
  const pieceBytes = 64 * 1024;
  const { length: byteCount } = content;
  await hub.handedRecordings.announce(from, { sessionId, byteCount, pieceBytes, checksum: sha256(content) });
  for (let place = 0; place * pieceBytes < byteCount; place++) {
    const piece = content.subarray(place * pieceBytes, (place + 1) * pieceBytes);
    await hub.handedRecordings.takePiece(from, sessionId, { place, checksum: sha256(piece), content: piece });
  }
}

describe.skipIf(skipped !== null)(title, () => {
  let built: BuiltPage;
  let browser: Browser;
  let store: ClubStore;
  let service: RunningService;
  let worker: HubWorker | null = null;
  let mended: (() => void) | null = null;
  const recorded: { readonly court: string; readonly sessionId: string; readonly name: string }[] = [];
  let oddId = '';

  /** A worker that stops before each recording until `goOn` is called: what is seen on the way does not hang on how fast this machine is. */
  const startWorker = () => {
    let open = (): void => {};
    let gate = new Promise<void>((resolve) => {
      open = resolve;
    });
    worker = new HubWorker({
      ...{ store, name: 'Workshop', threadCount: 1, version: '1.2.3', logger: silentLogger, idleMs: 50 },
      setupOf: async () => {
        await gate;
        gate = new Promise((resolve) => {
          open = resolve;
        });
        return noSetup;
      },
    });
    return () => open();
  };
  const opened = async (width: number, height: number, settings: object): Promise<Page> => {
    const context = await browser.newContext({ viewport: { width, height } });
    const page = await context.newPage();
    await page.addInitScript(`localStorage.setItem('seamwise-settings', ${JSON.stringify(JSON.stringify(settings))})`);
    await page.goto(`${service.url}#sessions`);
    await page.locator('.connection-open').waitFor();
    await page.getByRole('region', { name: 'Work of the hub' }).waitFor();
    return page;
  };
  const panel = (page: Page) => page.getByRole('region', { name: 'Work of the hub' });
  const looksRight = async (page: Page, what: string): Promise<void> => {
    expect(await cutOff(page), what).toEqual([]);
    expect(await axeFindings(page), what).toEqual([]);
    const folder = process.env.SEAMWISE_TEST_PICTURES;
    const width = page.viewportSize()?.width;
    if (folder !== undefined) await page.screenshot({ path: `${folder}/hub-${what}-${width}.png`, fullPage: true });
  };

  beforeAll(async () => {
    built = await buildPage();
    browser = await openBrowser();
    const cluster = await sharedCluster();
    const address = cluster.address(await cluster.createDatabase());
    store = await ClubStore.open({ address, nowS });
    for (const court of ['North', 'South']) {
      const own = await ClubStore.open({ file: ':memory:', nowS });
      const name = `${court} court, evening`;
      const { sessionId, file } = await addRecordedSession(
        { store: own, dataFolder: tempFolder() },
        name,
        'free-throw-swish',
      );
      recorded.push({ court, sessionId, name });
      if (court === 'South') {
        const words = {
          name: 'Half a recording',
          timeZone: 'UTC',
          simulated: false,
          recording: 'odd.mcap',
          settings: {},
        };
        oddId = await own.sessions.start(coach, words);
        await own.sessions.end(coach, oddId);
      }
      await handOver(own, store, court);
      await handRecording(store, court, sessionId, readFileSync(file));
      if (court === 'South') await handRecording(store, court, oddId, Buffer.from('this is no recording'));
      await own.close();
    }
    service = await startHub({
      ...{
        version: '1.2.3',
        port: 0,
        dataFolder: tempFolder(),
        pageFolder: built.folder,
        settings: defaultBallSettings,
      },
      database: { address },
    });
  });
  afterAll(async () => {
    mended?.();
    await worker?.close();
    await browser?.close();
    await service?.close();
    await store?.close();
    built?.remove();
  });

  test('a coach asks for it, watches it, sees why one was put aside, tries that again and fetches the export', async () => {
    const page = await opened(1366, 768, {});
    const rows = panel(page).locator('tbody tr');
    await panel(page).getByText('Nothing was asked of the workers yet.').waitFor();
    // Where a hub has nothing to give, nothing leads.
    expect(await page.getByRole('link', { name: /^(Import recordings|Export for research|Signals as)/ }).count()).toBe(
      0,
    );
    await panel(page).getByRole('button', { name: 'Go through new recordings again' }).click();
    await panel(page).getByRole('status').getByText('3 recordings').waitFor();
    await expect.poll(() => rows.count()).toBe(3);
    // Each says which recording of which practice it is.
    for (const { name } of recorded) await rows.getByRole('link', { name }).waitFor();
    await panel(page).getByRole('button', { name: 'Write an export' }).click();
    await expect.poll(() => rows.count()).toBe(4);
    await looksRight(page, 'waiting');
    await page.context().close();

    // What fails is tried again at once, and not only after the pause that is meant for real troubles.
    const hurry = setInterval(() => {
      const open = store.context.db.updateTable('job').set({ not_before_s: 0 });
      open
        .where('club_id', '=', store.clubId)
        .execute()
        .catch(() => {});
    }, 50);
    mended = () => clearInterval(hurry);
    const goOn = startWorker();
    const views: Page[] = [];
    for (const [width, height, theme] of sizes) views.push(await opened(width, height, { theme }));
    for (const view of views) {
      const running = panel(view).locator('tr[data-state=running]');
      await running.first().waitFor();
      await running.getByRole('progressbar').first().waitFor();
      await running.getByText('Workshop').waitFor();
      await looksRight(view, 'running');
    }
    const going = setInterval(goOn, 50);
    const [view] = views as [Page];
    await panel(view).locator('tr[data-state=parked]').waitFor();
    await expect.poll(() => panel(view).locator('tr[data-state=done]').count()).toBe(3);
    for (const each of views) {
      const parked = panel(each).locator('tr[data-state=parked]');
      await parked.getByText('Half a recording').waitFor();
      // Its reason, in words.
      expect((await parked.locator('.note').textContent())?.length).toBeGreaterThan(20);
      await panel(each).getByText('1 put aside').waitFor();
      // Whatever can be done about it is within sight.
      const again = await parked.getByRole('button', { name: 'Try again' }).boundingBox();
      expect((again?.x ?? 0) + (again?.width ?? Number.NaN)).toBeLessThanOrEqual(each.viewportSize()?.width ?? 0);
      await looksRight(each, 'parked');
    }
    clearInterval(hurry);
    clearInterval(going);
    await worker?.close();
    await panel(view).getByRole('button', { name: 'Try again' }).click();
    await panel(view).locator(`tr[data-state=waiting]`).waitFor();
    await panel(view).getByRole('button', { name: /^Stop/ }).click();
    await panel(view).locator('tr[data-state=stopped]').waitFor();
    const fetched = view.waitForEvent('download');
    await panel(view).getByRole('link', { name: 'Download' }).click();
    // .ZIP File Format Specification: a local file header begins with PK 3 4.
    expect(readFileSync(await (await fetched).path()).subarray(0, 4)).toEqual(Buffer.from([0x50, 0x4b, 3, 4]));
    for (const each of views) await each.context().close();
  });

  test('whoever looks is told when the work cannot be read', async () => {
    const context = await browser.newContext();
    const page = await context.newPage();
    await page.route('**/api/hub/jobs*', (route) =>
      route.fulfill({ status: 503, json: { message: 'the database is away' } }),
    );
    await page.goto(`${service.url}#sessions`);
    await panel(page).getByRole('alert').getByText('the database is away').waitFor();
    await looksRight(page, 'away');
    await context.close();
  });

  test('every text of it comes from the catalogue', async () => {
    const context = await browser.newContext({ viewport: { width: 390, height: 844 } });
    const page = await context.newPage();
    await page.addInitScript(`localStorage.setItem('seamwise-settings', '{"language":"pseudo"}')`);
    await page.goto(`${service.url}#sessions`);
    await page.locator('tr[data-job]').first().waitFor();
    expect(await cutOff(page)).toEqual([]);
    const data = new RegExp(
      `${recorded.map(({ name }) => name).join('|')}|Half a recording|Workshop|Seamwise|^\\d+ [kM]?B$`,
    );
    expect((await textsOutside(page)).filter((text) => !data.test(text))).toEqual([]);
    await context.close();
  });
});
