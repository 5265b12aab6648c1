import { mkdirSync, rmSync } from 'node:fs';
import path from 'node:path';
import type { HostLine } from '../../../shots/merge/host-line.ts';
import type { MergedShot } from '../../../shots/merge/merge-shots.ts';
import type { Shot } from '../../../shots/shot.ts';
import type { Mark } from '../../database/mark-records.ts';
import type { Session } from '../../database/session-records.ts';
import type { StoredShot } from '../../database/shot-records.ts';
import type { BidsEvent, BidsFolder } from './bids-folder.ts';
import type { ExportNames, ExportShift } from './export-names.ts';
import { type ExportPart, exportParts, isInStretches, sensorsOfShot } from './export-parts.ts';
import type { ExportedStream } from './other-columns.ts';
import { type ExportedSample, sampleColumns } from './sample-columns.ts';
import type { RecordedStream, RecordingSamples, SampleBatch, SampleSource } from './sample-source.ts';
import type { ExportedShot } from './shot-columns.ts';
import { TableWriter } from './table-writer.ts';
import { writeRaw } from './write-raw.ts';

export interface SessionExportOptions {
  readonly session: Session;
  /** Every shot of the session. */
  readonly all: readonly StoredShot[];
  /** Those that go out. */
  readonly exported: readonly ExportedShot[];
  /** Who owns which sensor. */
  readonly owners: ReadonlyMap<string, string | null>;
  readonly folder: string;
  readonly recordings: {
    readonly source: SampleSource;
    readonly samples: boolean;
    readonly bids: boolean;
    readonly raw: boolean;
  };
  readonly sensors: TableWriter<ExportedStream>;
  readonly bids: BidsFolder | null;
  readonly names: ExportNames;
  readonly shift: ExportShift;
  readonly marks: readonly Mark[];
}

/** Writes what was recorded of one session: its streams, samples, BIDS recordings and raw recordings. */
export class SessionExport {
  readonly #options: SessionExportOptions;
  readonly #files: string[] = [];
  #sampleCount = 0;

  constructor(options: SessionExportOptions) {
    this.#options = options;
  }

  /** @throws UnreadableRecordingError when the recording cannot be read. */
  async write(): Promise<{ sampleCount: number; files: readonly string[] }> {
    const { session, all, exported, owners, recordings, bids } = this.#options;
    const samples = await recordings.source.open(session);
    const here = new Set(samples.streams.map(({ sensorId }) => sensorId));
    const inRecording = new Map([...here].map((sensorId) => [sensorId, owners.get(sensorId) ?? null]));
    const parts = exportParts(
      all,
      exported.map(({ stored }) => stored),
      inRecording,
    );
    for (const part of parts) {
      await this.#tellStreams(part, samples);
      if (recordings.samples) await this.#writeSamples(part, samples);
      if (bids) await this.#writeBids(part, samples, bids);
    }
    if (recordings.raw) await this.#writeRaws(parts, samples);
    return { sampleCount: this.#sampleCount, files: this.#files };
  }

  #name(part: ExportPart): { player: string; session: string; sensor: string; shiftS: number } {
    const { names, session, shift } = this.#options;
    return {
      player: names.of('player', part.playerId),
      session: names.of('session', session.id),
      sensor: names.of('sensor', part.sensorId),
      shiftS: shift.of(part.playerId, session.started_s),
    };
  }

  async #tellStreams(part: ExportPart, { streams }: RecordingSamples): Promise<void> {
    const { names, session, sensors } = this.#options;
    for (const stream of streams.filter(({ sensorId }) => sensorId === part.sensorId)) {
      await sensors.add({
        ...this.#name(part),
        stream,
        sessionStartedS: session.started_s,
        rawSensorId: names.rawSensorId(part.sensorId),
      });
    }
  }

  async #writeSamples(part: ExportPart, samples: RecordingSamples): Promise<void> {
    const { folder, session } = this.#options;
    const { player, session: sessionName, sensor } = this.#name(part);
    mkdirSync(path.join(folder, 'samples'), { recursive: true, mode: 0o700 });
    const name = path.posix.join('samples', [sessionName, player, sensor].filter(Boolean).join('_'));
    const table = await TableWriter.create<ExportedSample>(folder, name, sampleColumns);
    try {
      for await (const { batch, rows } of ownSamples(part, samples)) {
        for (const at of rows) {
          await table.add({ batch, at, player, session: sessionName, sensor, sessionStartedS: session.started_s });
        }
      }
    } catch (error) {
      await table.abandon();
      for (const end of ['csv', 'parquet']) rmSync(path.join(folder, `${name}.${end}`), { force: true });
      throw error;
    }
    await table.close();
    this.#sampleCount += table.rowCount;
    this.#files.push(`${name}.csv`, `${name}.parquet`);
  }

  async #writeBids(part: ExportPart, samples: RecordingSamples, bids: BidsFolder): Promise<void> {
    const { shift, exported } = this.#options;
    const { player, session, sensor, shiftS } = this.#name(part);
    const stream = samples.streams.find(({ sensorId }) => sensorId === part.sensorId);
    if (!stream) return;
    if (player === '') bids.takePlayer('', null);
    const own = exported.filter(
      ({ stored }) => stored.player_id === part.playerId && sensorsOfShot(stored).includes(part.sensorId),
    );
    await bids.add({
      player,
      session,
      sensor,
      stream,
      shiftS,
      isShifted: shift.kind !== 'none',
      events: own.flatMap((shot) => eventsOf(shot, samples.streams)),
      batches: ownSamples(part, samples),
    });
  }

  async #writeRaws(parts: readonly ExportPart[], samples: RecordingSamples): Promise<void> {
    const { folder, session, recordings, names, marks, owners } = this.#options;
    mkdirSync(path.join(folder, 'raw'), { recursive: true, mode: 0o700 });
    for (const playerId of new Set(parts.map((part) => part.playerId))) {
      const own = parts.filter((part) => part.playerId === playerId);
      const [first] = own;
      if (!first) continue;
      const { player, session: sessionName, shiftS } = this.#name(first);
      const name = path.posix.join('raw', `${[sessionName, player].filter(Boolean).join('_')}.mcap`);
      await writeRaw({
        from: recordings.source.fileOf(session),
        to: path.join(folder, name),
        parts: own,
        shiftS,
        rawSensorId: (sensorId) => names.rawSensorId(sensorId),
        marks,
        owners,
        samples,
        simulated: session.simulated === 1,
      });
      this.#files.push(name);
    }
  }
}

/** The rows of each batch that are in the part. */
async function* ownSamples(
  { sensorId, stretches }: ExportPart,
  samples: RecordingSamples,
): AsyncGenerator<{ batch: SampleBatch; rows: readonly number[] }> {
  for await (const batch of samples.batches()) {
    if (batch.stream.sensorId !== sensorId) continue;
    const rows: number[] = [];
    for (let at = 0; at < batch.length; at++) if (isInStretches(stretches, batch.hostS[at] ?? 0)) rows.push(at);
    if (rows.length > 0) yield { batch, rows };
  }
}

const times = ['pickup', 'lift', 'release', 'contact'] as const;

/** Times of a shot on the clock of the session's samples. */
function eventsOf(shot: ExportedShot, streams: readonly RecordedStream[]): BidsEvent[] {
  const { sensor_id, stream_index, at_s, result } = shot.stored;
  const told = result.shot as Shot & Partial<MergedShot>;
  const stream = streams.find(({ sensorId, streamIndex }) => sensorId === sensor_id && streamIndex === stream_index);
  const clock = stream?.clock ?? null;
  return times.flatMap((what) => {
    const timeS = told[`${what}S`];
    if (timeS === null) return [];
    const sinceReleaseS = told.releaseS === null ? 0 : timeS - told.releaseS;
    const hostS = clock === null ? at_s + sinceReleaseS : hostTime(clock, timeS);
    return [{ what, hostS, standardErrorS: told.timeErrorsS[what], shot }];
  });
}

/** The line of a sensor's clock, as `toHost` of the analysis reads it. */
function hostTime({ referenceS, hostTimeS, driftPpm }: HostLine, timeS: number): number {
  return hostTimeS + (timeS - referenceS) * (1 + driftPpm * 1e-6);
}
