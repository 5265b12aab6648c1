import os from 'node:os';
import type { CDPSession, Page } from 'playwright-core';

/** How smoothly a page draws, and what stays in its memory. */
export interface FrameFigures {
  readonly watchedS: number;
  readonly framesPerS: number;
  /** Of the rounds, the slowest. */
  readonly leastFramesPerS: number;
  /** 99 of 100 frames came within this after the one before, ms. */
  readonly frameGap99Ms: number;
  /** Of the time that passed, and at 60 frames a second, from what one frame takes. */
  readonly mainThreadShare: number;
  readonly mainThreadShareAt60: number;
  /** Processes that wanted a processor meanwhile, on average over the minute. */
  readonly machineLoad: number;
  readonly heapMb: readonly number[];
  readonly heapSlopeMbPerHour: number;
}

/**
 * Counts frames where the page draws them; the main thread's share is the browser's own count of the time that its tasks ran, over the time that
 * passed.
 *
 * @param rounds of `roundS` seconds, after each of which the memory is counted.
 */
export async function watchFrames(
  page: Page,
  { rounds, roundS, say }: { readonly rounds: number; readonly roundS: number; readonly say: (line: string) => void },
): Promise<FrameFigures> {
  const debug = await page.context().newCDPSession(page);
  // Time that the thread itself ran: on a machine that does other work too, the time that passed would count that.
  await debug.send('Performance.enable', { timeDomain: 'threadTicks' });
  const [gaps, heapMb, rates]: [number[], number[], number[]] = [[], [], []];
  let [taskS, passedS] = [0, 0];
  for (let round = 0; round < rounds; round++) {
    const before = await tasksOf(debug);
    const frames = await page.evaluate<number[]>(`(${frameGaps})(${1000 * roundS})`);
    const after = await tasksOf(debug);
    taskS += after.taskS - before.taskS;
    passedS += after.atS - before.atS;
    gaps.push(...frames);
    const roundPassedS = frames.reduce((sum, ms) => sum + ms, 0) / 1000;
    rates.push(frames.length / roundPassedS);
    heapMb.push(await heapLeftMb(debug));
    say(
      `round ${round + 1}: ${rates.at(-1)?.toFixed(1)} frames/s, main thread ${((100 * (after.taskS - before.taskS)) / (after.atS - before.atS)).toFixed(0)} %, heap ${heapMb.at(-1)?.toFixed(2)} MB`,
    );
  }
  const sorted = gaps.toSorted((a, b) => a - b);
  return {
    ...{ watchedS: rounds * roundS, heapMb },
    framesPerS: gaps.length / (gaps.reduce((sum, ms) => sum + ms, 0) / 1000),
    leastFramesPerS: Math.min(...rates),
    frameGap99Ms: sorted[Math.floor(0.99 * sorted.length)] ?? Number.NaN,
    mainThreadShare: taskS / passedS,
    mainThreadShareAt60: (60 * taskS) / gaps.length,
    machineLoad: os.loadavg()[0] ?? Number.NaN,
    heapSlopeMbPerHour: slope(heapMb) * (3600 / roundS),
  };
}

/**
 * What a page holds after everything that is not in use was collected: the least of three counts, since what is only just being drawn does
 * not stay.
 */
export async function heapLeftMb(debug: CDPSession): Promise<number> {
  const counts: number[] = [];
  for (let count = 0; count < 3; count++) {
    await debug.send('HeapProfiler.collectGarbage');
    const { usedSize } = await debug.send('Runtime.getHeapUsage');
    counts.push(usedSize / 1e6);
    await new Promise((resolve) => setTimeout(resolve, 150));
  }
  return Math.min(...counts);
}

/** Runs in the page, as text: what prepares TypeScript adds names to functions that a page does not know. @returns ms between frames. */
const frameGaps = `(ms) => new Promise((resolve) => {
  const found = [];
  const startMs = performance.now();
  let lastMs = startMs;
  const step = (nowMs) => {
    found.push(nowMs - lastMs);
    lastMs = nowMs;
    if (nowMs - startMs < ms) requestAnimationFrame(step);
    else resolve(found);
  };
  requestAnimationFrame(step);
})`;

async function tasksOf(debug: CDPSession): Promise<{ taskS: number; atS: number }> {
  const { metrics } = await debug.send('Performance.getMetrics');
  const of = (name: string): number => metrics.find((metric) => metric.name === name)?.value ?? Number.NaN;
  return { taskS: of('TaskDuration'), atS: of('Timestamp') };
}

/** @returns the slope of a straight line through values at 0, 1, 2 …, by least squares. */
export function slope(values: readonly number[]): number {
  const middle = (values.length - 1) / 2;
  const mean = values.reduce((sum, value) => sum + value, 0) / values.length;
  const over = values.reduce((sum, value, at) => sum + (at - middle) * (value - mean), 0);
  return over / values.reduce((sum, _, at) => sum + (at - middle) ** 2, 0);
}
