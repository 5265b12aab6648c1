/**
 * How smoothly eight sensors at 416 Hz run by in the signal view, in Chromium that draws by software alone: frames a second, the main
 * thread's share, and what stays in memory. Frames are counted where the page draws them; the main thread's share is the browser's own count of
 * the time that its tasks ran, over the time that passed. The memory is counted while the recording is leafed through, to and fro, until hours
 * of signals have been drawn.
 */
import { mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import type { AddressInfo } from 'node:net';
import os from 'node:os';
import path from 'node:path';
import type { Page } from 'playwright-core';
import { recordingsFolder } from '../../src/server/practice/practice-keeper.ts';
import { RecordingWriter } from '../../src/sessions/recording/recording-writer.ts';
import { analysisVersion, defaultBallSettings } from '../../src/shots/shot.ts';
import { drawEndlessPlan } from '../../src/simulate/draw-plan.ts';
import { encodePractice } from '../../src/simulate/encoded-practice.ts';
import { drawSensor } from '../../src/simulate/sensor-model.ts';
import { buildPage } from '../browser/built-page.ts';
import { openBrowser } from '../browser/open-browser.ts';
import { type FrameFigures, heapLeftMb, slope, watchFrames } from '../helpers/frame-watch.ts';
import { openResearchService, type ResearchService } from '../helpers/research-service.ts';
import { coach } from '../sessions/database/opened-store.ts';
import { goal, type ProofContext, type ProofFigures } from './proof.ts';

const rateHz = 416;
const startedS = 1_764_000_000;

export interface RawView extends FrameFigures {
  readonly sensors: number;
  readonly charts: number;
  readonly samples: number;
  /** After each ten minutes of signals that were leafed through. */
  readonly leafedHeapMb: readonly number[];
  readonly leafedHeapSlopeMbPerHour: number;
}

const countEveryS = 600;

/**
 * @param rounds of `roundS` seconds in which frames are counted.
 * @param leafedS seconds of signals to be leafed through after that.
 */
export async function watchRawView(
  seed: number,
  sensors: number,
  { rounds, roundS, leafedS }: { readonly rounds: number; readonly roundS: number; readonly leafedS: number },
  say: (line: string) => void,
): Promise<RawView> {
  const folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-raw-view-'));
  const built = await buildPage();
  let service: ResearchService | null = null;
  const browser = await openBrowser('--enable-precise-memory-info', '--js-flags=--expose-gc');
  try {
    service = await openResearchService(path.join(folder, 'data'), { pageFolder: built.folder });
    const lengthS = rounds * roundS + 40;
    const sessionId = await recordSensors(service, seed, sensors, lengthS);
    say(`${sensors} sensors at ${rateHz} Hz, ${lengthS} s recorded`);
    await service.server.listen({ host: '127.0.0.1', port: 0 });
    const { port } = service.server.server.address() as AddressInfo;
    const page = await (await browser.newContext({ viewport: { width: 1366, height: 768 } })).newPage();
    await page.goto(`http://127.0.0.1:${port}/#signals=${sessionId}`);
    await page.locator('.chart-strip canvas').first().waitFor({ timeout: 240_000 });
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
    await stage.press(' ');
    await page.waitForTimeout(5000);
    const figures = await watchFrames(page, { rounds, roundS, say });
    await page.getByRole('button', { name: 'Stop', exact: true }).click();
    const leafedHeapMb = await leafThrough(page, leafedS, say);
    const charts = await page.locator('.chart-strip canvas').count();
    return {
      ...{ sensors, charts, samples: sensors * rateHz * lengthS, ...figures, leafedHeapMb },
      leafedHeapSlopeMbPerHour: slope(leafedHeapMb) * (3600 / countEveryS),
    };
  } finally {
    await browser.close();
    await service?.close();
    built.remove();
    rmSync(folder, { recursive: true, force: true });
  }
}

/** Leafs to and fro by key, each page drawn whole. @returns what stays in memory, MB, at first and after every ten minutes of signals. */
async function leafThrough(page: Page, leafedS: number, say: (line: string) => void): Promise<number[]> {
  const debug = await page.context().newCDPSession(page);
  const stage = page.locator('.stage');
  const pageS = 0.9 * (await spanS(page));
  const where = () => page.locator('.stage-where span').textContent();
  const heapMb = [await heapLeftMb(debug)];
  let key = 'PageDown';
  let countedS = 0;
  for (let seenS = 0; seenS < leafedS; seenS += pageS) {
    const before = await where();
    await stage.press(key);
    // One chart a frame is drawn.
    await page.evaluate(framesPassed);
    if ((await where()) === before) key = key === 'PageDown' ? 'PageUp' : 'PageDown';
    if (seenS - countedS < countEveryS) continue;
    countedS += countEveryS;
    await page.waitForTimeout(500);
    heapMb.push(await heapLeftMb(debug));
    say(`${(countedS / 3600).toFixed(2)} h leafed through: heap ${heapMb.at(-1)?.toFixed(2)} MB`);
  }
  return heapMb;
}

/** Runs in the page, as text. */
const framesPassed = `new Promise((resolve) => {
  let left = 20;
  const step = () => (left-- > 0 ? requestAnimationFrame(step) : resolve());
  step();
})`;

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
  const leafedS = Math.max(0.5, 4 * scale) * 3600;
  const view = await watchRawView(seed('sensors'), 8, { rounds, roundS: 15, leafedS }, say);
  return {
    ...view,
    goals: [
      goal('frames a second', view.framesPerS, { atLeast: 50 }),
      goal("main thread's share", view.mainThreadShare, { atMost: 0.4 }),
      goal('heap slope, MB per hour of signals', view.leafedHeapSlopeMbPerHour, { atMost: 1 }),
    ],
  };
}
