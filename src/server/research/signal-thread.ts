/** Thread that reads the samples of recordings into a file and gives stretches of them out. */
import { randomBytes } from 'node:crypto';
import { closeSync, openSync, rmSync } from 'node:fs';
import path from 'node:path';
import { parentPort, workerData } from 'node:worker_threads';
import type { SensorSetup } from '../../live/sensor-setup.ts';
import type { WireSignalStream } from '../wire/signal-document.ts';
import { encodeWindow, type WindowQuestion } from './encode-window.ts';
import { readSignals, type SignalStream, sessionTime } from './read-signals.ts';
import { PageFile } from './signal-pages.ts';

/** To the thread that holds samples. */
export type ToSignalThread =
  | {
      readonly kind: 'open';
      readonly id: number;
      readonly key: string;
      readonly file: string;
      readonly startedS: number;
      readonly setups: Readonly<Record<string, SensorSetup>>;
    }
  | { readonly kind: 'window'; readonly id: number; readonly key: string; readonly question: WindowQuestion }
  | { readonly kind: 'close'; readonly key: string };

/** And back. */
export type FromSignalThread =
  | { readonly kind: 'share'; readonly key: string; readonly share: number }
  | { readonly kind: 'opened'; readonly id: number; readonly streams: readonly WireSignalStream[] }
  | { readonly kind: 'window'; readonly id: number; readonly bytes: ArrayBuffer }
  | { readonly kind: 'failed'; readonly id: number; readonly message: string };

const { folder } = workerData as { readonly folder: string };
const held = new Map<string, { readonly streams: readonly SignalStream[]; close(): void }>();
const say = (said: FromSignalThread, transfer: ArrayBuffer[] = []): void => parentPort?.postMessage(said, transfer);

async function open({ id, key, file, startedS, setups }: Extract<ToSignalThread, { kind: 'open' }>): Promise<void> {
  const temporary = path.join(folder, `${randomBytes(8).toString('hex')}.samples`);
  const descriptor = openSync(temporary, 'wx+', 0o600);
  const remove = (): void => rmSync(temporary, { force: true });
  // Nothing is left of it whatever ends the program; where a file in use cannot go, it goes when it is closed, or at the next start.
  if (process.platform !== 'win32') remove();
  let toldShare = 0;
  const onShare = (share: number): void => {
    if (share - toldShare < 0.01) return;
    toldShare = share;
    say({ kind: 'share', key, share });
  };
  const close = (): void => {
    closeSync(descriptor);
    remove();
  };
  try {
    const streams = await readSignals({ file, startedS, setups, pageFile: new PageFile(descriptor), onShare });
    held.get(key)?.close();
    held.set(key, { streams, close });
    say({ kind: 'opened', id, streams: streams.map(wireStream) });
  } catch (error) {
    close();
    throw error;
  }
}

function wireStream({ stream, pages, line }: SignalStream): WireSignalStream {
  const { sensorId, streamIndex, placement, nominalRateHz, measuredRateHz, hasGyro, isCalibrated } = stream;
  const { accelRangeMps2, gyroRangeRadps, clock } = stream;
  return {
    ...{ sensorId, streamIndex, placement, hasGyro, isCalibrated, accelRangeMps2, gyroRangeRadps },
    rateHz: measuredRateHz ?? nominalRateHz,
    fromS: sessionTime(line, pages.pages[0]?.firstS ?? 0),
    untilS: sessionTime(line, pages.pages.at(-1)?.lastS ?? 0),
    sampleCount: pages.sampleCount,
    gapCount: pages.gaps.length,
    clock: { ...line, standardErrorS: clock?.hostTimeStandardErrorS ?? 0 },
  };
}

// One after the other: a stretch of a recording is asked for when it has been read.
let working = Promise.resolve();
parentPort?.on('message', (asked: ToSignalThread) => {
  working = working.then(async () => {
    try {
      if (asked.kind === 'open') await open(asked);
      else if (asked.kind === 'close') {
        held.get(asked.key)?.close();
        held.delete(asked.key);
      } else {
        const bytes = encodeWindow(held.get(asked.key)?.streams ?? [], asked.question);
        say({ kind: 'window', id: asked.id, bytes }, [bytes]);
      }
    } catch (error) {
      if (asked.kind === 'close') return;
      say({ kind: 'failed', id: asked.id, message: error instanceof Error ? error.message : String(error) });
    }
  });
});
