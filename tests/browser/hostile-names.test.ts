import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { drillLibrary } from '../../src/coaching/drills.ts';
import { asides, screens } from '../../src/dashboard/route.ts';
import { chromiumPath, noBrowser } from '../helpers/chromium.ts';
import { openWholeService, type WholeService } from '../helpers/whole-service.ts';
import { madeShot, shotEvent } from '../server/made-shots.ts';
import { coach } from '../sessions/database/opened-store.ts';
import { type BuiltPage, buildPage } from './built-page.ts';
import { screenOf } from './every-screen.ts';
import { openBrowser } from './open-browser.ts';
import { countAsked, settled } from './settled.ts';

/** Names that are programs, wherever a person or a sensor may give one: they are shown as what was written, and nothing runs. */

const executablePath = chromiumPath();
const title = executablePath === null ? `names that are programs (${noBrowser})` : 'names that are programs';

const named = (where: string): string => `<img src=x onerror=hit()>${where}`;
const closing = '"></title></script><script>hit()</script>';

describe.skipIf(executablePath === null)(title, () => {
  let built: BuiltPage;
  let browser: Browser;
  let service: WholeService;
  let page: Page;
  let url = '';
  let sessionId = '';
  let playerId = '';
  const hits: string[] = [];

  beforeAll(async () => {
    built = await buildPage();
    service = await openWholeService({ pageFolder: built.folder });
    const { store } = service.keeper;
    playerId = await store.players.add(coach, { pseudonym: named('player'), notes: closing });
    await store.players.giveConsent(coach, playerId, 'record', 'the player');
    await store.players.giveConsent(coach, playerId, 'display', 'the player');
    sessionId = await store.sessions.start(coach, {
      ...{ name: named('practice'), timeZone: 'UTC', simulated: true, recording: null, settings: {} },
    });
    const [drill] = drillLibrary;
    if (!drill) throw new Error('no drill to take after');
    await store.coaching.addDrill(coach, { ...drill, title: named('drill'), purpose: closing, steps: [named('step')] });
    await store.players.seeSensor({ id: 'ball-a', placement: 'ball', description: '00' });
    await store.players.changeSensor(coach, 'ball-a', { label: named('sensor') });
    for (let index = 0; index < 30; index++) {
      const place = {
        sessionId,
        setId: null,
        playerId,
        sensorId: 'ball-a',
        streamIndex: 0,
        atS: 1_764_000_000 + index,
      };
      const id = await store.shots.add(place, { shot: madeShot(index), analysisVersion: '1', parameters: {} });
      await store.shots.tag(coach, [id], { notes: named('note') });
    }
    await store.marks.add(coach, sessionId, {
      ...{ atS: 1_764_000_000, uncertaintyS: 0.1, origin: 'hand', name: named('mark') },
    });
    service.hub.setSource({ kind: 'bluetooth', state: 'ready', detail: named('source'), remedy: closing });
    service.hub.setSensor({
      ...{ sensorId: 'ball-a', state: 'streaming', detail: named('detail'), remedy: closing },
      ...{ notificationCount: 1, lostCount: 0, corruptCount: 0, sampleRateHz: 200 },
      information: {
        ...{ name: named('radio'), model: named('model'), firmwareRevision: closing, batteryPercent: 50, rssiDbm: -60 },
      },
    });
    service.hub.publish(shotEvent(0));
    url = `${await service.server.listen({ host: '127.0.0.1', port: 0 })}/`;
    browser = await openBrowser();
    page = await (await browser.newContext({ viewport: { width: 1366, height: 768 } })).newPage();
    await countAsked(page);
    await page.exposeFunction('hit', () => hits.push(page.url()));
    page.on('dialog', (dialog) => void dialog.dismiss().then(() => hits.push('a dialog')));
  });
  afterAll(async () => {
    await browser?.close();
    await service?.close();
    built?.remove();
  });

  /** @returns elements that came out of a name. */
  const made = () =>
    page
      .locator('img[src="x"], script:not([src]), [onerror], [onload], [onclick], iframe, object, embed')
      .evaluateAll((elements) => elements.map(({ outerHTML }) => outerHTML.slice(0, 200)));

  /** @returns what each stretch of text on the page says by itself: two names side by side stay two. */
  const texts = () =>
    page.evaluate<string[]>(`(() => {
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    const texts = [];
    while (walker.nextNode()) texts.push(walker.currentNode.data);
    return texts;
  })()`);

  test('stand on every screen as they were written', async () => {
    const seen = new Set<string>();
    for (const word of [...screens, ...asides, `session=${sessionId}`, `signals=${sessionId}`]) {
      await page.goto('about:blank');
      await page.goto(`${url}#${word}`);
      await page.locator(`main[data-screen=${screenOf(word)}]`).waitFor();
      // What the service tells by itself has come with the first word of it.
      await page.locator('.sensors li, main:not([data-screen=live])').first().waitFor();
      await settled(page);
      expect(await made(), word).toEqual([]);
      for (const text of await texts()) {
        for (const [, where] of text.matchAll(/<img src=x onerror=hit\(\)>(\w+)/g)) if (where) seen.add(where);
      }
    }
    expect(hits).toEqual([]);
    // The test would find nothing if no screen showed a name.
    const expected = ['player', 'practice', 'sensor', 'source', 'detail', 'model'];
    expect(expected.filter((where) => !seen.has(where))).toEqual([]);
  });

  test.each(['coach', 'parent', 'researcher'])('stand in the reports for a %s as they were written', async (reader) => {
    for (const path of [`sessions/${sessionId}/report`, `players/${playerId}/report`]) {
      const answer = await page.goto(`${url}api/${path}?for=${reader}`);
      expect(answer?.headers()['content-security-policy'], path).toContain("default-src 'none'");
      expect(answer?.status(), path).toBe(200);
      expect(await answer?.text(), path).not.toContain('<img src=x');
      expect(await made(), path).toEqual([]);
    }
    expect(hits).toEqual([]);
  });
});
