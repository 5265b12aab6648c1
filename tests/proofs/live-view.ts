/**
 * How smoothly the signals of eight sensors at 416 Hz run by as they come, in Chromium that draws by software alone: the sensors send in real
 * time, the service analyses them, and the page draws every sample. Frames, the main thread and the memory are counted as `raw-view` does.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { startService } from '../../src/server/service.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';
import { buildPage } from '../browser/built-page.ts';
import { openBrowser } from '../browser/open-browser.ts';
import { type FrameFigures, watchFrames } from '../helpers/frame-watch.ts';
import { createSimulatedBalls } from '../helpers/simulated-balls.ts';
import { goal, type ProofContext, type ProofFigures } from './proof.ts';

export interface LiveView extends FrameFigures {
  readonly sensors: number;
  readonly charts: number;
  readonly spanS: number;
  /** Messages that the page was too slow for. */
  readonly leftOut: number;
}

/** @param rounds of `roundS` seconds, after each of which the memory is counted. */
export async function watchLiveView(
  seed: number,
  { sensors, rounds, roundS, spanS }: { sensors: number; rounds: number; roundS: number; spanS: 2 | 5 | 10 | 30 },
  say: (line: string) => void,
): Promise<LiveView> {
  const folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-live-view-'));
  const built = await buildPage();
  const browser = await openBrowser('--js-flags=--expose-gc');
  const service = await startService({
    ...{ version: '1.2.3', port: 0, dataFolder: folder, pageFolder: built.folder, settings: defaultBallSettings },
    source: createSimulatedBalls(String(seed), sensors, 416),
  });
  try {
    const page = await (await browser.newContext({ viewport: { width: 1366, height: 768 } })).newPage();
    await page.goto(`${service.url}#live-signals`);
    const rows = page.locator('.live-stage .chart-row');
    await rows.nth(2 * sensors - 1).waitFor({ timeout: 240_000 });
    await page.getByRole('radio', { name: `${spanS} s`, exact: true }).check();
    // Until the view is full, and the clocks are known.
    await page.waitForTimeout(1000 * (spanS + 5));
    const figures = await watchFrames(page, { rounds, roundS, say });
    const note = (await page.locator('.research > .note').first().textContent()) ?? '';
    return {
      ...{ sensors, spanS, charts: await rows.count(), ...figures },
      leftOut: Number(/^The connection was too slow for (\d+)/.exec(note)?.[1] ?? 0),
    };
  } finally {
    await browser.close();
    await service.close();
    built.remove();
    rmSync(folder, { recursive: true, force: true });
  }
}

export async function prove({ seed, scale, say }: ProofContext): Promise<ProofFigures> {
  const rounds = Math.max(3, Math.round(20 * scale));
  const view = await watchLiveView(seed('sensors'), { sensors: 8, rounds, roundS: 15, spanS: 10 }, say);
  return {
    ...view,
    goals: [
      goal('frames a second', view.framesPerS, { atLeast: 50 }),
      goal("main thread's share", view.mainThreadShare, { atMost: 0.4 }),
      goal('heap slope, MB per hour of watching', view.heapSlopeMbPerHour, { atMost: 1 }),
      goal('pieces left out', view.leftOut, { atMost: 0 }),
    ],
  };
}
