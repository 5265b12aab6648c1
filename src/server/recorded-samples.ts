import path from 'node:path';
import type { ImuBlock } from '../foundation/imu-block.ts';
import { SensorChain } from '../live/notification-chain.ts';
import { noSetup, type SensorSetup } from '../live/sensor-setup.ts';
import { decodeSensorDescription, type SensorDescription } from '../protocol/sensor-description.ts';
import type {
  RecordedStream,
  RecordingSamples,
  SampleBatch,
  SampledSession,
  SampleSource,
} from '../sessions/exchange/export/sample-source.ts';
import { RecordingReader } from '../sessions/recording/recording-reader.ts';
import { openRecordingFile } from '../sessions/recording-file.ts';
import { toHost } from '../shots/merge/host-line.ts';
import { AttitudeStream, type AttitudeTrack } from '../signal/attitude-track.ts';
import { readSettingsNote } from './analysis/settings-note.ts';

export interface RecordedSamplesOptions {
  /** Where the recordings lie by their names, or else who brings that of a session and says where it lies. */
  readonly recordingsFolder: string | ((session: SampledSession) => Promise<string>);
  readonly setupOf: (sensorId: string) => Promise<SensorSetup>;
}

/** Reads the samples of recordings as the analysis has them: on a fitted clock, calibrated, with their attitude. */
export function recordedSamples({ recordingsFolder, setupOf }: RecordedSamplesOptions): SampleSource {
  let opened: { readonly id: string; readonly file: string } | null = null;
  return {
    fileOf({ id }) {
      if (opened?.id !== id) throw new Error('the recording is asked for before it is open');
      return opened.file;
    },
    async open(session) {
      const { id, recording, settings } = session;
      const file =
        typeof recordingsFolder === 'string'
          ? path.join(recordingsFolder, recording ?? '')
          : await recordingsFolder(session);
      opened = { id, file };
      const setups = new Map<string, SensorSetup>();
      const known: RecordedStream[] = [];
      // Once through for the clocks, which only the whole stream knows well.
      for await (const { stream } of recordedBlocks(
        file,
        async (id) => setups.get(id) ?? keep(setups, id, await setupOf(id)),
      )) {
        if (stream) known.push(stream);
      }
      return {
        streams: known,
        settingsNote: { ...readSettingsNote(JSON.parse(settings)) },
        setups: Object.fromEntries([...setups].map(([id, setup]) => [id, withoutOrigins(setup)])),
        batches: () => batches(file, setups, known),
      } satisfies RecordingSamples;
    },
  };
}

/** What the analysis needs of a setup: reference shots without when and by which sensor they came about. */
function withoutOrigins({ correction, calibratedAtS, spinReferences }: SensorSetup): SensorSetup {
  const plain = spinReferences.map(({ snapRateRadps, snapRateSdRadps, spinRps, spinSdRps, place }) => {
    return { snapRateRadps, snapRateSdRadps, spinRps, spinSdRps, place };
  });
  return { correction, calibratedAtS, spinReferences: plain };
}

function keep(setups: Map<string, SensorSetup>, id: string, setup: SensorSetup): SensorSetup {
  setups.set(id, setup);
  return setup;
}

interface OpenChain {
  readonly streamIndex: number;
  readonly description: SensorDescription;
  readonly chain: SensorChain;
  readonly setup: SensorSetup;
}

/** What comes of a recording: blocks as they are read, and each stream when it ends. */
export interface RecordedBlocks {
  readonly sensorId: string;
  readonly streamIndex: number;
  readonly blocks: readonly ImuBlock[];
  readonly stream: RecordedStream | null;
}

/**
 * Reads a recording block by block, as the live path has them.
 *
 * @param onShare told what share of the file has been read.
 * @throws UnreadableRecordingError when the file cannot be read.
 */
export async function* recordedBlocks(
  file: string,
  setupOf: (sensorId: string) => Promise<SensorSetup>,
  onShare: (share: number) => void = () => {},
): AsyncGenerator<RecordedBlocks> {
  const open = new Map<string, OpenChain>();
  const counts = new Map<string, number>();
  const blocksIn = (events: ReturnType<SensorChain['push']>) =>
    events.flatMap((event) => (event.kind === 'block' ? [event.block] : []));
  const end = (sensorId: string): RecordedBlocks[] => {
    const ending = open.get(sensorId);
    if (!ending) return [];
    open.delete(sensorId);
    const blocks = blocksIn(ending.chain.finish());
    return [{ sensorId, streamIndex: ending.streamIndex, blocks, stream: streamOf(sensorId, ending) }];
  };
  const opened = await openRecordingFile(file);
  try {
    const reader = await RecordingReader.open(opened);
    for await (const { kind, sensorId, bytes, hostTimeS } of reader.entries((bytes) =>
      onShare(bytes / opened.sizeBytes),
    )) {
      const now = open.get(sensorId);
      if (kind === 'notification') {
        if (!now) continue;
        const blocks = blocksIn(now.chain.push(bytes, hostTimeS));
        if (blocks.length > 0) yield { sensorId, streamIndex: now.streamIndex, blocks, stream: null };
        continue;
      }
      yield* end(sensorId);
      // Counted as the live path counts them, those that cannot be opened too.
      const streamIndex = counts.get(sensorId) ?? 0;
      counts.set(sensorId, streamIndex + 1);
      const started = await start(sensorId, streamIndex, bytes, setupOf);
      if (started) open.set(sensorId, started);
    }
    for (const sensorId of [...open.keys()]) yield* end(sensorId);
  } finally {
    await opened.handle.close();
  }
}

async function start(
  sensorId: string,
  streamIndex: number,
  bytes: Uint8Array,
  setupOf: (sensorId: string) => Promise<SensorSetup>,
): Promise<OpenChain | null> {
  const setup = await setupOf(sensorId);
  try {
    const description = decodeSensorDescription(bytes);
    const { correction } = setup;
    const chain = new SensorChain({ sensorName: sensorId, description, ballSettings: null, correction });
    return { streamIndex, description, chain, setup };
  } catch {
    // A damaged description: without it the bytes mean nothing.
    return null;
  }
}

function streamOf(sensorId: string, { streamIndex, description, chain, setup }: OpenChain): RecordedStream {
  const { clock, sampleRateHz } = chain.summary();
  return {
    sensorId,
    streamIndex,
    placement: description.placement,
    nominalRateHz: description.accelRateHz,
    measuredRateHz: sampleRateHz,
    accelRangeMps2: description.accelRangeMps2,
    gyroRangeRadps: description.gyroRangeRadps,
    filterDelayS: description.filterDelayS,
    hasGyro: description.gyroRateHz !== null,
    isCalibrated: setup.correction !== null,
    clock: clock.host,
  };
}

async function* batches(
  file: string,
  setups: ReadonlyMap<string, SensorSetup>,
  streams: readonly RecordedStream[],
): AsyncGenerator<SampleBatch> {
  const attitudes = new Map<RecordedStream, AttitudeStream>();
  for await (const { sensorId, streamIndex, blocks } of recordedBlocks(file, async (id) => setups.get(id) ?? noSetup)) {
    const stream = streams.find((each) => each.sensorId === sensorId && each.streamIndex === streamIndex);
    const clock = stream?.clock;
    // Without a host time nobody can say when it was.
    if (!stream || !clock) continue;
    for (const block of blocks) {
      let attitude = attitudes.get(stream);
      if (!attitude && block.gyroRadps) {
        attitude = new AttitudeStream();
        attitudes.set(stream, attitude);
      }
      yield batchOf(
        stream,
        block,
        attitude && block.gyroRadps ? attitude.push(block) : null,
        (timeS) => toHost(clock, timeS).hostS,
      );
    }
  }
}

function batchOf(
  stream: RecordedStream,
  block: ImuBlock,
  track: AttitudeTrack | null,
  hostOf: (timeS: number) => number,
): SampleBatch {
  const unknown = new Float64Array(block.length).fill(Number.NaN);
  return {
    stream,
    length: block.length,
    hostS: block.timeS.map(hostOf),
    accelMps2: block.accelMps2,
    gyroRadps: block.gyroRadps,
    sensorToRoom: track?.sensorToWorld ?? null,
    inclinationSdRad: track?.inclinationSdRad ?? unknown,
    headingSdRad: track?.headingSdRad ?? unknown,
    flags: block.flags,
  };
}
