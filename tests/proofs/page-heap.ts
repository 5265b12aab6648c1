/**
 * What stays in the memory of a page over a practice of four hours. The practice is played about a hundred times as fast as it would go by:
 * the documents are those of the live service and as many (each sensor's state every second, an early and a final shot every eight seconds,
 * flights that are none, outcomes, sets and turns of three players by a coach), stored and read back by the page as always; only the time between them is shorter. After
 * every ten minutes of practice everything that is not in use is collected in Chromium, and what is left is counted.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import type { CDPSession, Page } from 'playwright-core';
import { systemClock } from '../../src/devices/system-clock.ts';
import { silentLogger } from '../../src/foundation/logger.ts';
import { buildServer } from '../../src/server/build-server.ts';
import { LiveHub, type PublishedEvent } from '../../src/server/live-hub.ts';
import { PracticeKeeper } from '../../src/server/practice/practice-keeper.ts';
import { tellChanges } from '../../src/server/practice/tell-changes.ts';
import { ShotLog } from '../../src/server/shot-log.ts';
import type { WireSensor } from '../../src/server/wire/live-document.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';
import { buildPage } from '../browser/built-page.ts';
import { openBrowser } from '../browser/open-browser.ts';
import { slope } from '../helpers/frame-watch.ts';
import { madeShot, rejectedEvent } from '../server/made-shots.ts';
import { descriptionBytes, sensorId } from '../sessions/recording/made-recording.ts';
import { goal, type ProofContext, type ProofFigures } from './proof.ts';

export interface HeapPlan {
  readonly hours: number;
  /** Screens that stay open, each on a page of its own. */
  readonly screens: readonly string[];
  /** Milliseconds that a second of practice takes, where the pages keep up. */
  readonly msPerS: number;
}

export interface PageHeap {
  readonly screen: string;
  /** After each ten minutes of practice, the first before it began. */
  readonly heapMb: readonly number[];
  readonly nodes: readonly number[];
  readonly listeners: readonly number[];
  /** Of a straight line through all of it, and without the first hour, in which lists of a bounded length fill up. */
  readonly slopeMbPerHour: number;
  readonly laterSlopeMbPerHour: number;
}

const shotEveryS = 8;
const countEveryS = 600;

/** Plays a practice into pages and counts what stays in each. */
export async function watchPageHeap(plan: HeapPlan, say: (line: string) => void): Promise<PageHeap[]> {
  const folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-page-heap-'));
  const built = await buildPage();
  const browser = await openBrowser('--js-flags=--expose-gc');
  const club = await openClub(folder, built.folder);
  try {
    const pages: { readonly screen: string; readonly page: Page; readonly debug: CDPSession }[] = [];
    for (const screen of plan.screens) {
      // A context of its own: its page shares no process with the others.
      const page = await (await browser.newContext({ viewport: { width: 1366, height: 768 } })).newPage();
      await page.goto(`${club.url}#${screen}`);
      await page.locator('.connection-open').waitFor();
      const debug = await page.context().newCDPSession(page);
      await debug.send('Performance.enable');
      pages.push({ screen, page, debug });
    }
    const counted = pages.map(() => ({ heapMb: [] as number[], nodes: [] as number[], listeners: [] as number[] }));
    const count = async (atS: number): Promise<void> => {
      for (const [at, { page, debug }] of pages.entries()) {
        await page.waitForLoadState('networkidle');
        const found = await leftIn(debug);
        counted[at]?.heapMb.push(found.heapMb);
        counted[at]?.nodes.push(found.nodes);
        counted[at]?.listeners.push(found.listeners);
      }
      const now = pages.map(({ screen }, at) => `${screen} ${counted[at]?.heapMb.at(-1)?.toFixed(2)} MB`);
      say(`${(atS / 3600).toFixed(2)} h: ${now.join(', ')}`);
    };
    await club.play(0, 60, plan.msPerS);
    await count(0);
    for (let fromS = 60; fromS < plan.hours * 3600; fromS += countEveryS) {
      await club.play(fromS, Math.min(fromS + countEveryS, plan.hours * 3600 + 60), plan.msPerS);
      await count(fromS + countEveryS - 60);
    }
    const perHour = 3600 / countEveryS;
    return pages.map(({ screen }, at) => {
      const { heapMb = [], nodes = [], listeners = [] } = counted[at] ?? {};
      return {
        ...{ screen, heapMb, nodes, listeners },
        slopeMbPerHour: slope(heapMb) * perHour,
        laterSlopeMbPerHour: slope(heapMb.slice(perHour)) * perHour,
      };
    });
  } finally {
    await browser.close();
    await club.close();
    built.remove();
    rmSync(folder, { recursive: true, force: true });
  }
}

/** What of a page is in use, after everything else was collected. */
async function leftIn(debug: CDPSession): Promise<{ heapMb: number; nodes: number; listeners: number }> {
  // Twice: what the first frees may hold on to more by way of finalizers.
  await debug.send('HeapProfiler.collectGarbage');
  await debug.send('HeapProfiler.collectGarbage');
  const { usedSize } = await debug.send('Runtime.getHeapUsage');
  const { metrics } = await debug.send('Performance.getMetrics');
  const of = (name: string): number => metrics.find((metric) => metric.name === name)?.value ?? Number.NaN;
  return { heapMb: usedSize / 1e6, nodes: of('Nodes'), listeners: of('JSEventListeners') };
}

/** A service with its store, whose practice goes as fast as is asked. */
async function openClub(folder: string, pageFolder: string) {
  const startS = systemClock.nowS();
  let practiceS = 0;
  const clock = { ...systemClock, nowS: () => startS + practiceS };
  const keeper = await PracticeKeeper.open({
    ...{ dataFolder: path.join(folder, 'data'), clock, logger: silentLogger, simulated: true },
    settings: defaultBallSettings,
  });
  const hub = new LiveHub({
    ...{ log: new ShotLog(), clock, version: '1.2.3', runId: 'run1', simulated: true, latestShotCount: 50 },
  });
  const server = await buildServer({
    ...{ hub, pageFolder, port: 0, logger: silentLogger, mostRequests: { local: 1e9, remote: 1e9 } },
    practice: { keeper: async () => keeper, nowS: () => clock.nowS(), logger: silentLogger },
  });
  await tellChanges(keeper.store, hub, silentLogger);
  await server.listen({ host: '127.0.0.1', port: 0 });
  const address = server.server.address();
  const url = `http://127.0.0.1:${typeof address === 'object' ? address?.port : 0}/`;
  const ask = async (method: string, route: string, body: object): Promise<{ readonly id: string }> => {
    const headers = { 'content-type': 'application/json' };
    const answer = await fetch(new URL(route, url), { method, headers, body: JSON.stringify(body) });
    if (!answer.ok) throw new Error(`${method} ${route}: ${answer.status} ${await answer.text()}`);
    return (await answer.json()) as { readonly id: string };
  };
  const players: string[] = [];
  for (const pseudonym of ['Player 01', 'Player 02', 'Player 03']) {
    const { id } = await ask('POST', '/api/players', { pseudonym });
    await ask('POST', `/api/players/${id}/consents`, { scope: 'record', givenByRole: 'player' });
    players.push(id);
  }
  keeper.takeState({
    ...{ sensorId, state: 'streaming', hostTimeS: clock.nowS(), description: descriptionBytes, detail: null },
  });
  const tell = async (event: PublishedEvent): Promise<void> => {
    const document = hub.prepare(event);
    const { isKept, playerId } = await keeper.keep(document, event);
    const told =
      document.kind === 'shot' && isKept && playerId !== undefined ? { playerId, outcome: 'unknown' as const } : {};
    hub.tell({ ...document, ...told });
  };
  let shots = 0;
  return {
    url,
    /** Seconds `[fromS, untilS)` of the practice. */
    async play(fromS: number, untilS: number, msPerS: number): Promise<void> {
      for (practiceS = fromS; practiceS < untilS; practiceS++) {
        const beganMs = performance.now();
        for (const id of [sensorId, 'b'.repeat(32)]) hub.setSensor(sensorState(id, practiceS));
        if (practiceS % shotEveryS === 0) {
          const head = { sensorId, streamIndex: 0, hostTimeS: clock.nowS(), releaseHostS: clock.nowS() - 1 };
          for (const stage of ['early', 'final'] as const)
            await tell({ ...head, event: { kind: 'shot', shot: madeShot(shots, stage) } });
          shots += 1;
          if (shots % 3 === 0) await tell({ ...rejectedEvent(practiceS, sensorId), hostTimeS: clock.nowS() });
          if (shots % 5 === 0) await ask('POST', '/api/shots/tag', { which: { newestOf: 'current' }, outcome: 'make' });
          if (shots % 20 === 0) {
            await ask('POST', '/api/sessions/current/sets', { kind: 'test', name: `set ${shots / 20}` });
            // The players take turns with the ball.
            const ownerPlayerId = players[(shots / 20) % players.length];
            await ask('PATCH', `/api/known-sensors/${sensorId}`, { ownerPlayerId });
          }
        }
        await new Promise((resolve) => setTimeout(resolve, Math.max(0, msPerS - (performance.now() - beganMs))));
      }
    },
    async close(): Promise<void> {
      await server.close();
      await keeper.close();
    },
  };
}

function sensorState(id: string, practiceS: number): WireSensor {
  return {
    ...{ sensorId: id, state: 'streaming', detail: null, notificationCount: 20 * practiceS, lostCount: practiceS % 7 },
    ...{ corruptCount: 0, sampleRateHz: 416.2 + (practiceS % 10) / 100 },
  };
}

export async function prove({ scale, say }: ProofContext): Promise<ProofFigures> {
  const hours = Math.max(0.5, 4 * scale);
  const screens = ['court', 'live', 'bench', 'sessions', 'session=current', 'coaching', 'compare'];
  const pages = await watchPageHeap({ hours, screens, msPerS: 10 }, say);
  return {
    hours,
    pages,
    goals: pages.map(({ screen, slopeMbPerHour }) =>
      goal(`${screen}: heap slope, MB per hour of practice`, slopeMbPerHour, { atMost: 1 }),
    ),
  };
}
