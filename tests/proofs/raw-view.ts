/**
 * How smoothly eight sensors at 416 Hz run by in the signal view, in Chromium that draws by software alone: frames a second, the main
 * thread's share, and what stays in memory. Frames are counted where the page draws them; the main thread's share is the browser's own count of
 * the time that its tasks ran, over the time that passed.
 */
import { mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import type { AddressInfo } from 'node:net';
import os from 'node:os';
import path from 'node:path';
import { type CDPSession, chromium, type Page } from 'playwright-core';
import { recordingsFolder } from '../../src/server/practice/practice-keeper.ts';
import { RecordingWriter } from '../../src/sessions/recording/recording-writer.ts';
import { analysisVersion, defaultBallSettings } from '../../src/shots/shot.ts';
import { drawEndlessPlan } from '../../src/simulate/draw-plan.ts';
import { encodePractice } from '../../src/simulate/encoded-practice.ts';
import { drawSensor } from '../../src/simulate/sensor-model.ts';
import { buildPage } from '../browser/built-page.ts';
import { chromiumFlags, chromiumPath, noBrowser } from '../helpers/chromium.ts';
import { openResearchService, type ResearchService } from '../helpers/research-service.ts';
import { coach } from '../sessions/database/opened-store.ts';
import { goal, type ProofContext, type ProofFigures } from './proof.ts';

const rateHz = 416;
const startedS = 1_764_000_000;

export interface RawView {
  readonly sensors: number;
  readonly charts: number;
  readonly samples: number;
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

/** @param rounds of `roundS` seconds, after each of which the memory is counted. */
export async function watchRawView(
  seed: number,
  sensors: number,
  rounds: number,
  roundS: number,
  say: (line: string) => void,
): Promise<RawView> {
  const executablePath = chromiumPath();
  if (executablePath === null) throw new Error(noBrowser);
  const folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-raw-view-'));
  const built = await buildPage();
  let service: ResearchService | null = null;
  const browser = await chromium.launch({
    executablePath,
    args: [...chromiumFlags, '--enable-precise-memory-info', '--js-flags=--expose-gc'],
  });
  try {
    service = await openResearchService(path.join(folder, 'data'), { pageFolder: built.folder });
    const lengthS = rounds * roundS + 40;
    const sessionId = await recordSensors(service, seed, sensors, lengthS);
    say(`${sensors} sensors at ${rateHz} Hz, ${lengthS} s recorded`);
    await service.server.listen({ host: '127.0.0.1', port: 0 });
    const { port } = service.server.server.address() as AddressInfo;
    const page = await (await browser.newContext({ viewport: { width: 1366, height: 768 } })).newPage();
    await page.goto(`http://127.0.0.1:${port}/#signals=${sessionId}`);
    await page.locator('.chart-strip canvas').first().waitFor({ timeout: 120_000 });
    await page.getByRole('checkbox', { name: 'Turn rate' }).check();
    await page
      .locator('.chart-strip canvas')
      .nth(2 * sensors - 1)
      .waitFor();
    const stage = page.locator('.stage');
    // From the whole to some ten seconds at its beginning.
    for (let i = 0; i < 40 && (await spanS(page)) > 12; i++) await stage.press('+');
    for (let i = 0; i < 40 && (await page.locator('.stage-where span').textContent())?.startsWith('0:0') === false; i++)
      await stage.press('PageUp');
    const debug = await page.context().newCDPSession(page);
    // Time that the thread itself ran: on a machine that does other work too, the time that passed would count that.
    await debug.send('Performance.enable', { timeDomain: 'threadTicks' });
    return await measure(page, debug, stage.press.bind(stage), { sensors, rounds, roundS, lengthS, say });
  } finally {
    await browser.close();
    await service?.close();
    built.remove();
    rmSync(folder, { recursive: true, force: true });
  }
}

interface Course {
  readonly sensors: number;
  readonly rounds: number;
  readonly roundS: number;
  readonly lengthS: number;
  readonly say: (line: string) => void;
}

async function measure(
  page: Page,
  debug: CDPSession,
  press: (key: string) => Promise<void>,
  course: Course,
): Promise<RawView> {
  const { sensors, rounds, roundS, lengthS, say } = course;
  await press(' ');
  await page.waitForTimeout(5000);
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
    await debug.send('HeapProfiler.collectGarbage');
    const { usedSize } = await debug.send('Runtime.getHeapUsage');
    heapMb.push(usedSize / 1e6);
    say(
      `round ${round + 1}: ${rates.at(-1)?.toFixed(1)} frames/s, main thread ${((100 * (after.taskS - before.taskS)) / (after.atS - before.atS)).toFixed(0)} %, heap ${heapMb.at(-1)?.toFixed(2)} MB`,
    );
  }
  const sorted = gaps.toSorted((a, b) => a - b);
  const charts = await page.locator('.chart-strip canvas').count();
  return {
    ...{ sensors, charts, watchedS: rounds * roundS, samples: sensors * rateHz * lengthS, heapMb },
    framesPerS: gaps.length / (gaps.reduce((sum, ms) => sum + ms, 0) / 1000),
    leastFramesPerS: Math.min(...rates),
    frameGap99Ms: sorted[Math.floor(0.99 * sorted.length)] ?? Number.NaN,
    mainThreadShare: taskS / passedS,
    mainThreadShareAt60: (60 * taskS) / gaps.length,
    machineLoad: os.loadavg()[0] ?? Number.NaN,
    heapSlopeMbPerHour: slope(heapMb) * (3600 / roundS),
  };
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

/** Of a straight line through values at 0, 1, 2 …, by least squares. */
function slope(values: readonly number[]): number {
  const middle = (values.length - 1) / 2;
  const mean = values.reduce((sum, value) => sum + value, 0) / values.length;
  const over = values.reduce((sum, value, at) => sum + (at - middle) * (value - mean), 0);
  return over / values.reduce((sum, _, at) => sum + (at - middle) ** 2, 0);
}

async function spanS(page: Page): Promise<number> {
  const text = (await page.locator('.stage-where span').textContent()) ?? '';
  const [from = 0, until = 0] = text.split(' to ').map((part) => {
    const [minutes = 0, seconds = 0] = part.replace('−', '-').split(':').map(Number);
    return 60 * minutes + seconds;
  });
  return until - from;
}

/** One recording of several sensors that begin at once, as a session without shots. @returns its id. */
async function recordSensors(
  { store, dataFolder }: ResearchService,
  seed: number,
  sensors: number,
  lengthS: number,
): Promise<string> {
  const folder = path.join(dataFolder, recordingsFolder);
  mkdirSync(folder, { recursive: true });
  const writer = await RecordingWriter.create(path.join(folder, 'eight.mcap'));
  const streams = Array.from({ length: sensors }, (_, index) => {
    const name = `${seed} ${index}`;
    const sensor = drawSensor(name, { rateHz });
    const { description, chunks } = encodePractice({ seed: name, acts: drawEndlessPlan(name), sensor });
    return { sensorId: sensor.sensorId, description, packets: packetsOf(chunks, lengthS) };
  });
  for (const { sensorId, description } of streams) await writer.describe(sensorId, description, startedS);
  const heads = streams.map(({ packets }) => packets.next());
  for (;;) {
    // The earliest of all comes first, as on one machine.
    let first = -1;
    for (const [index, head] of heads.entries()) {
      const best = heads[first];
      if (!head.done && (best === undefined || best.done || head.value.hostTimeS < best.value.hostTimeS)) first = index;
    }
    const head = heads[first];
    const stream = streams[first];
    if (!head || head.done || !stream) break;
    await writer.add({ sensorId: stream.sensorId, ...head.value });
    heads[first] = stream.packets.next();
  }
  await writer.close();
  return store.importSession(coach, {
    ...{
      name: 'Eight sensors',
      startedS,
      endedS: startedS + lengthS,
      timeZone: 'UTC',
      simulated: false,
      recording: 'eight.mcap',
    },
    ...{ settings: defaultBallSettings, analysisVersion, parameters: {}, shots: [], marks: [] },
    sensors: streams.map(({ sensorId }) => ({ id: sensorId, placement: 'ball', description: '' })),
  });
}

function* packetsOf(
  chunks: Iterable<{ readonly notifications: readonly { readonly bytes: Uint8Array; readonly hostTimeS: number }[] }>,
  lengthS: number,
): Generator<{ bytes: Uint8Array; hostTimeS: number }, void> {
  let shiftS: number | null = null;
  for (const { notifications } of chunks) {
    for (const { bytes, hostTimeS } of notifications) {
      shiftS ??= startedS - hostTimeS;
      if (hostTimeS + shiftS > startedS + lengthS) return;
      yield { bytes, hostTimeS: hostTimeS + shiftS };
    }
  }
}

export async function prove({ seed, scale, say }: ProofContext): Promise<ProofFigures> {
  const rounds = Math.max(3, Math.round(20 * scale));
  const view = await watchRawView(seed('sensors'), 8, rounds, 15, say);
  return {
    ...view,
    goals: [
      goal('frames a second', view.framesPerS, { atLeast: 50 }),
      goal("main thread's share", view.mainThreadShare, { atMost: 0.4 }),
      goal('heap slope, MB per hour of watching', view.heapSlopeMbPerHour, { atMost: 1 }),
    ],
  };
}
