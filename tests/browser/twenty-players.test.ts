import { mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import type { Browser, Page } from 'playwright-core';
import { map, merge } from 'rxjs';
import { afterAll, beforeAll, describe, expect, test, vi } from 'vitest';
import type { SensorProvider } from '../../src/devices/sensor-provider.ts';
import { createSimulatedBall } from '../../src/devices/simulated-practice.ts';
import { systemClock } from '../../src/devices/system-clock.ts';
import { startService } from '../../src/server/service.ts';
import type { RunningService } from '../../src/server/service-options.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';
import { chromiumPath, noBrowser } from '../helpers/chromium.ts';
import { type BuiltPage, buildPage } from './built-page.ts';
import { openBrowser } from './open-browser.ts';

const executablePath = chromiumPath();
const title = executablePath === null ? `twenty players on two balls (${noBrowser})` : 'twenty players on two balls';

/** Two simulated shooters, each with a ball of their own, as one source. */
function twoBalls(): SensorProvider {
  const balls = [21, 22].map((seed) => createSimulatedBall({ clock: systemClock, seed }));
  const [first, second] = balls as [(typeof balls)[number], (typeof balls)[number]];
  return {
    kind: 'simulated',
    simulated: true,
    notifications: merge(first.notifications, second.notifications),
    states: merge(first.states, second.states),
    providerStates: first.providerStates,
    information: merge(first.information, second.information),
    discover: () => merge(first.discover(), second.discover()).pipe(map((one) => one)),
    open: (wanted) => {
      for (const ball of balls) ball.open(wanted);
    },
    identify: (sensorId) => first.identify(sensorId),
    close: async () => {
      for (const ball of balls) await ball.close();
    },
  };
}

describe.skipIf(executablePath === null)(title, () => {
  let built: BuiltPage;
  let browser: Browser;
  let service: RunningService;
  let dataFolder = '';
  const playerIds: string[] = [];

  const ask = async (method: string, route: string, body?: object) => {
    const headers = { 'content-type': 'application/json' };
    const answer = await fetch(new URL(route, service.url), {
      ...{ method, ...(body ? { headers, body: JSON.stringify(body) } : {}) },
    });
    return answer.json();
  };
  const bench = async (): Promise<Page> => {
    const page = await (await browser.newContext({ viewport: { width: 1366, height: 768 } })).newPage();
    await page.goto(`${service.url}#bench`);
    return page;
  };

  beforeAll(async () => {
    built = await buildPage();
    browser = await openBrowser();
    dataFolder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-twenty-'));
    service = await startService({
      ...{ version: '1.2.3', port: 0, dataFolder, pageFolder: built.folder, settings: defaultBallSettings },
      source: twoBalls(),
    });
    for (let number = 1; number <= 20; number++) {
      const pseudonym = `Player ${String(number).padStart(2, '0')}`;
      const { id } = await ask('POST', '/api/players', { pseudonym });
      await ask('POST', `/api/players/${id}/consents`, { scope: 'record', givenByRole: 'parent' });
      playerIds.push(id);
    }
    const until = { timeout: 240_000, interval: 200 };
    await vi.waitUntil(async () => (await ask('GET', '/api/known-sensors')).sensors.length === 2, until);
  });
  afterAll(async () => {
    await browser?.close();
    await service?.close();
    built?.remove();
    rmSync(dataFolder, { recursive: true, force: true });
  });

  test('each ball goes round its ten, one tap among twenty gives it to another, and two browsers show the same', async () => {
    const { sensors } = await ask('GET', '/api/known-sensors');
    const groups = [playerIds.slice(0, 10), playerIds.slice(10)] as const;
    for (const [at, group] of groups.entries()) {
      await ask('POST', '/api/sessions/current/rotations', {
        ...{ playerIds: group, shotsEach: 1, sensorId: sensors[at].id },
      });
    }
    const [one, two] = [await bench(), await bench()];
    // Both rounds of the practice are there, not one of them alone.
    await one
      .getByText(/^Player \d\d shoots/)
      .nth(1)
      .waitFor();
    type Stored = { readonly sensorId: string; readonly playerId: string | null; readonly id: string };
    const shots = async (): Promise<Stored[]> => (await ask('GET', '/api/sessions/current/shots?limit=2000')).shots;
    const ofBall = async (at: number): Promise<Stored[]> =>
      (await shots()).filter(({ sensorId, playerId }) => sensorId === sensors[at].id && playerId !== null);
    await expect
      .poll(async () => Math.min((await ofBall(0)).length, (await ofBall(1)).length))
      .toBeGreaterThanOrEqual(2);
    for (const [at, group] of groups.entries()) {
      const owners = (await ofBall(at)).map(({ playerId }) => group.indexOf(playerId ?? ''));
      expect(owners).toEqual(owners.map((_, turn) => turn % 10));
    }

    const choosers = one.locator('fieldset.tap-list[data-sensor]');
    expect(await choosers.first().getByRole('button').count()).toBe(21);
    const sensorId = (await choosers.first().getAttribute('data-sensor')) ?? '';
    await choosers.first().getByRole('button', { name: 'Player 17' }).click();
    const twin = two.locator(`fieldset.tap-list[data-sensor="${sensorId}"]`);
    await twin.locator('[aria-pressed=true]').getByText('Player 17').waitFor();
    const before = (await shots()).filter((shot) => shot.sensorId === sensorId).length;
    await expect
      .poll(async () => (await shots()).filter((shot) => shot.sensorId === sensorId).length)
      .toBeGreaterThan(before + 1);
    const newest = (await shots()).filter((shot) => shot.sensorId === sensorId).at(-1);
    expect(newest?.playerId).toBe(playerIds[16]);

    // The same rows, in the same order, with the same names.
    const rows = (page: Page) =>
      page
        .locator('tr[data-stored]')
        .evaluateAll((all) =>
          all.map((row) => `${row.getAttribute('data-stored')} ${row.children[2]?.textContent ?? ''}`),
        );
    await expect.poll(async () => (await rows(one)).join() === (await rows(two)).join()).toBe(true);
    const seen = await rows(one);
    expect(new Set(seen).size).toBe(seen.length);
  });
});
