/**
 * How long the page takes from the first byte asked for until it can be used, with nothing kept from before, and what it loads for that.
 * Every load has a browser profile of its own. Usable: the screen is drawn, the service's first documents have come, and a step to another
 * screen, asked for in that moment, is drawn.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import type { Browser } from 'playwright-core';
import { startService } from '../../src/server/service.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';
import { buildPage } from '../browser/built-page.ts';
import { openBrowser } from '../browser/open-browser.ts';
import { goal, type ProofContext, type ProofFigures } from './proof.ts';

/** Screen drawn and connected; the step to another screen drawn. From the start of the navigation. */
interface LoadTimes {
  readonly connectedMs: number;
  readonly usableMs: number;
}

interface Load extends LoadTimes {
  /** Bytes of files as they came over the network, with their headers, and how many. */
  readonly bytes: number;
  readonly files: number;
  /** Of those, files whose body was packed. */
  readonly packed: number;
}

export interface PageLoads {
  readonly loads: readonly Load[];
  readonly machineLoad: number;
}

/** Runs in the page from its first line on, as text. */
const watchUse = `(() => {
  const look = () => {
    if (!document.querySelector('main[data-screen=court]') || !document.querySelector('.connection-open')) return;
    watcher.disconnect();
    const connectedMs = performance.now();
    location.hash = 'help';
    const wait = () => {
      if (!document.querySelector('main[data-screen=help]')) return requestAnimationFrame(wait);
      // Drawn, when the frame after it begins.
      requestAnimationFrame(() => {
        window.tellUsable({ connectedMs, usableMs: performance.now() });
      });
    };
    wait();
  };
  const watcher = new MutationObserver(look);
  watcher.observe(document, { childList: true, subtree: true, attributes: true });
})()`;

async function loadOnce(browser: Browser, url: string): Promise<Load> {
  const context = await browser.newContext({ viewport: { width: 390, height: 844 } });
  try {
    const page = await context.newPage();
    const debug = await context.newCDPSession(page);
    await debug.send('Network.enable');
    await debug.send('Network.setCacheDisabled', { cacheDisabled: true });
    const coded = new Map<string, boolean>();
    let bytes = 0;
    debug.on('Network.responseReceived', ({ requestId, response }) => {
      if (!new URL(response.url).pathname.startsWith('/api')) {
        coded.set(
          requestId,
          Object.keys(response.headers).some((name) => name.toLowerCase() === 'content-encoding'),
        );
      }
    });
    debug.on('Network.loadingFinished', ({ requestId, encodedDataLength }) => {
      if (coded.has(requestId)) bytes += encodedDataLength;
    });
    const usable = new Promise<LoadTimes>((resolve) => void page.exposeFunction('tellUsable', resolve));
    await page.addInitScript(watchUse);
    await page.goto(`${url}#court`);
    const late = new Promise<never>((_, reject) => {
      setTimeout(() => reject(new Error('the page was not usable within 30 s')), 30_000).unref();
    });
    const times = await Promise.race([usable, late]);
    return { ...times, bytes, files: coded.size, packed: [...coded.values()].filter(Boolean).length };
  } finally {
    await context.close();
  }
}

export async function loadPages(count: number, say: (line: string) => void): Promise<PageLoads> {
  const folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-page-load-'));
  const built = await buildPage();
  const browser = await openBrowser();
  const service = await startService({
    ...{
      version: '1.2.3',
      port: 0,
      dataFolder: folder,
      pageFolder: built.folder,
      settings: defaultBallSettings,
      seed: 5,
    },
  });
  try {
    // The browser's own start is not the page's.
    await loadOnce(browser, service.url);
    const loads: Load[] = [];
    for (let i = 0; i < count; i++) {
      const load = await loadOnce(browser, service.url);
      loads.push(load);
      say(`load ${i + 1}: usable after ${load.usableMs.toFixed(0)} ms, ${load.bytes} bytes in ${load.files} files`);
    }
    return { loads, machineLoad: os.loadavg()[0] ?? Number.NaN };
  } finally {
    await browser.close();
    await service.close();
    built.remove();
    rmSync(folder, { recursive: true, force: true });
  }
}

export async function prove({ scale, say }: ProofContext): Promise<ProofFigures> {
  const found = await loadPages(Math.max(5, Math.round(40 * scale)), say);
  const usableMs = found.loads.map((load) => load.usableMs).toSorted((a, b) => a - b);
  const at = (share: number): number => usableMs[Math.floor(share * (usableMs.length - 1))] ?? Number.NaN;
  return {
    ...found,
    usableMedianMs: at(0.5),
    usable90Ms: at(0.9),
    goals: [
      goal('usable after, slowest load, ms', at(1), { atMost: 1000 }),
      goal('bytes over the network, largest load', Math.max(...found.loads.map(({ bytes }) => bytes)), {
        atMost: 120_000,
      }),
    ],
  };
}
