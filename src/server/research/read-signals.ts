import type { SensorSetup } from '../../live/sensor-setup.ts';
import { noSetup } from '../../live/sensor-setup.ts';
import type { RecordedStream } from '../../sessions/exchange/export/sample-source.ts';
import type { HostLine } from '../../shots/merge/host-line.ts';
import { recordedBlocks } from '../recorded-samples.ts';
import { type PageFile, SignalPages } from './signal-pages.ts';

/** One stream of a recording with its samples, on the clock of the session: s since its start. */
export interface SignalStream {
  readonly stream: RecordedStream;
  readonly pages: SignalPages;
  readonly line: SessionLine;
}

/** Session time over the stream's own time: `zeroS + slope * timeS`. */
export interface SessionLine {
  readonly zeroS: number;
  readonly slope: number;
}

export function sessionTime({ zeroS, slope }: SessionLine, timeS: number): number {
  return zeroS + slope * timeS;
}

export function streamTime({ zeroS, slope }: SessionLine, sessionS: number): number {
  return (sessionS - zeroS) / slope;
}

/** @param startedS host time of the session's start. */
export function sessionLine({ referenceS, hostTimeS, driftPpm }: HostLine, startedS: number): SessionLine {
  const slope = 1 + driftPpm * 1e-6;
  return { slope, zeroS: hostTimeS - startedS - slope * referenceS };
}

export interface ReadSignalsOptions {
  readonly file: string;
  readonly startedS: number;
  readonly setups: Readonly<Record<string, SensorSetup>>;
  readonly pageFile: PageFile;
  readonly onShare: (share: number) => void;
}

/**
 * Reads all samples of a recording, calibrated as the analysis has them. Streams without a host time are left out: nobody can say
 * when they were.
 *
 * @throws UnreadableRecordingError when the file cannot be read.
 */
export async function readSignals(options: ReadSignalsOptions): Promise<SignalStream[]> {
  const { file, startedS, setups, pageFile, onShare } = options;
  const open = new Map<string, SignalPages>();
  const streams: SignalStream[] = [];
  for await (const { sensorId, blocks, stream } of recordedBlocks(file, async (id) => setups[id] ?? noSetup, onShare)) {
    for (const block of blocks) {
      const pages = open.get(sensorId) ?? new SignalPages(pageFile, block.gyroRadps !== null);
      open.set(sensorId, pages);
      pages.add(block);
    }
    if (!stream) continue;
    const pages = open.get(sensorId);
    open.delete(sensorId);
    pages?.finish();
    if (pages && stream.clock) streams.push({ stream, pages, line: sessionLine(stream.clock, startedS) });
  }
  return streams;
}
