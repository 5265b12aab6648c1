import path from 'node:path';
import { SeamwiseError } from '../../foundation/errors.ts';
import { type ChainEvent, SensorChain } from '../../live/notification-chain.ts';
import { placeOf, type SensorPlace } from '../../live/shot-tracker.ts';
import { decodeSensorDescription, type SensorDescription, sensorTraits } from '../../protocol/sensor-description.ts';
import { type RecordingEntry, RecordingReader } from '../../sessions/recording/recording-reader.ts';
import type { OpenedFile } from '../../sessions/recording-file.ts';
import { type RecordingWarning, UnreadableRecordingError } from '../../sessions/unreadable.ts';
import type { ArmMount, BallSettings, ShotEvent } from '../../shots/shot.ts';
import { UsageError } from '../usage-error.ts';
import { type Analysis, composeAnalysis } from './compose-analysis.ts';
import { refuseRate } from './refuse-rate.ts';
import { ShotCollector } from './shot-collector.ts';

export interface NotificationAnalysisOptions {
  readonly settings: BallSettings;
  /** Where the person says the sensor is; null when nothing was said. */
  readonly placement: SensorPlace | null;
  readonly mount: ArmMount | null;
  /** Sensor to analyse, where the recording holds several; the start of its id is enough. */
  readonly sensorId: string | null;
  readonly onBytes: (bytes: number) => void;
}

/**
 * Analyses a recording of notifications by the same chain that serves a live sensor.
 *
 * @throws UnreadableRecordingError when nothing can be read; UsageError when a choice is missing or cannot be served.
 */
export async function analyzeNotifications(file: OpenedFile, options: NotificationAnalysisOptions): Promise<Analysis> {
  const reader = await RecordingReader.open(file);
  const sensorId = chooseSensor(file, reader, options.sensorId);
  const replay = new SensorReplay(file, options);
  replay.describe(reader.sensors.get(sensorId ?? '') ?? null);
  let onlySensor = sensorId;
  for await (const entry of reader.entries(options.onBytes)) {
    onlySensor ??= entry.sensorId;
    if (entry.sensorId === onlySensor) replay.take(entry);
  }
  return replay.finish(reader);
}

/** @returns the sensor to analyse, or null when only the messages themselves can tell. */
function chooseSensor(file: OpenedFile, reader: RecordingReader, asked: string | null): string | null {
  const ids = [...reader.sensors.keys()];
  const list = ids.join(', ');
  if (asked !== null) {
    const fitting = ids.filter((id) => id.startsWith(asked));
    if (fitting.length > 1) {
      throw new UsageError(
        `--sensor ${asked}: expected the start of one sensor's id; came the start of ${fitting.join(', ')}`,
      );
    }
    if (fitting.length === 1) return fitting[0] as string;
    throw new UnreadableRecordingError('recording-unknown-sensor', {
      where: file.path,
      expected: `the sensor ${asked}`,
      came: ids.length === 0 ? 'a recording that names no sensor' : `a recording of ${list}`,
      remedy: 'Name one of those with --sensor, or another recording.',
    });
  }
  if (ids.length > 1)
    throw new UsageError(`${file.path} holds ${ids.length} sensors: choose one with --sensor <id>, out of ${list}`);
  return ids[0] ?? null;
}

/** One sensor's way from the recording through the chain. */
class SensorReplay {
  readonly #file: OpenedFile;
  readonly #options: NotificationAnalysisOptions;
  readonly #collector = new ShotCollector();
  readonly #warnings: RecordingWarning[] = [];
  #description: SensorDescription | null = null;
  #worn: { readonly place: SensorPlace; readonly mount: ArmMount | null } = { place: 'ball', mount: null };
  #chain: SensorChain | null = null;
  #undescribed = 0;
  #startS: number | null = null;

  constructor(file: OpenedFile, options: NotificationAnalysisOptions) {
    this.#file = file;
    this.#options = options;
  }

  /** @param bytes a sensor description, or null where none was found; only the first that can be read counts. */
  describe(bytes: Uint8Array | null): void {
    if (bytes === null) return;
    let description: SensorDescription;
    try {
      description = decodeSensorDescription(bytes);
    } catch (error) {
      if (!(error instanceof SeamwiseError)) throw error;
      this.#warnOnce('description-damaged', error.message);
      return;
    }
    if (this.#description) {
      if (JSON.stringify(description) !== JSON.stringify(this.#description)) {
        this.#warnOnce(
          'description-changed',
          'the sensor describes itself anew and differently in mid-recording; the first description was used',
        );
      }
      return;
    }
    this.#worn = placementOf(this.#file, description, this.#options);
    refuseRate(this.#file, description.accelRateHz, 'Set the sensor to another rate and record again.');
    this.#description = description;
    this.#chain = new SensorChain({
      sensorName: description.sensorId,
      description,
      ballSettings: this.#options.settings,
      wristSettings: { mount: this.#worn.mount },
      place: this.#worn.place,
    });
  }

  take(entry: RecordingEntry): void {
    if (entry.kind === 'description') this.describe(entry.bytes);
    else if (this.#chain === null) this.#undescribed += 1;
    else {
      const events = this.#chain.push(entry.bytes, entry.hostTimeS);
      for (const event of this.#shotEvents(events)) this.#collector.take(event);
    }
  }

  #shotEvents(events: readonly ChainEvent[]): ShotEvent[] {
    const shotEvents: ShotEvent[] = [];
    for (const event of events) {
      if (event.kind === 'block') this.#startS ??= event.block.timeS[0] ?? null;
      else if (event.kind === 'shot' || event.kind === 'rejected') shotEvents.push(event);
    }
    return shotEvents;
  }

  #warnOnce(code: string, message: string): void {
    if (!this.#warnings.some((warning) => warning.code === code)) this.#warnings.push({ code, message });
  }

  finish(reader: RecordingReader): Analysis {
    const description = this.#description;
    if (!this.#chain || !description) throw this.#nothingReadable(reader);
    this.#collector.finish(this.#shotEvents(this.#chain.finish()));
    const summary = this.#chain.summary();
    if (summary.samples === 0) throw this.#nothingReadable(reader);
    const traits = sensorTraits(description);
    const { settings } = this.#options;
    return composeAnalysis({
      settings,
      traits,
      collector: this.#collector,
      recording: {
        file: path.basename(this.#file.path),
        format: 'mcap',
        placement: this.#worn.place,
        mount: this.#worn.mount,
        simulated: parseSimulated(reader.about.get('simulated')),
        sensorId: description.sensorId,
        hasGyro: description.gyroRateHz !== null,
        sampleCount: summary.samples,
        sampleRateHz: summary.sampleRateHz,
        startS: this.#startS,
        durationS: summary.durationS,
        timeZeroTick: summary.timeZeroTick,
        gapCount: summary.gapCount,
        clippedShare: summary.clippedShare,
        badRows: 0,
        badRowExamples: [],
        ignoredColumns: [],
        notifications: {
          received: summary.packets,
          corrupt: summary.corruptCount,
          duplicate: summary.duplicateCount,
          reordered: summary.reorderedCount,
          missing: summary.missingPackets,
          missingSamples: summary.missingSamples,
          restarts: summary.restartCount,
        },
        damage: { ...reader.damage(), places: [...reader.damage().places] },
        warnings: this.#warnings,
      },
    });
  }

  #nothingReadable(reader: RecordingReader): UnreadableRecordingError {
    const where = this.#file.path;
    const damage = reader.damage();
    const remedy = 'Name a recording that Seamwise wrote, or copy this one again.';
    if (this.#chain || this.#undescribed === 0) {
      return new UnreadableRecordingError('recording-no-notification', {
        where,
        expected: 'a recording with at least one readable notification of a sensor',
        came: damage.places[0] ? `none; ${damage.places[0]}` : 'none',
        remedy,
      });
    }
    return new UnreadableRecordingError('recording-no-description', {
      where,
      expected: 'a description of the sensor before its notifications',
      came: `${this.#undescribed} notifications without a readable description`,
      remedy,
    });
  }
}

function placementOf(
  file: OpenedFile,
  { placement }: SensorDescription,
  said: NotificationAnalysisOptions,
): { place: SensorPlace; mount: ArmMount | null } {
  const stated = placeOf(placement);
  if (!stated) {
    if (said.placement !== null) return { place: said.placement, mount: said.mount };
    throw new UsageError(
      `${file.path}: the sensor does not say where it is: say it with --placement ball or --placement wrist`,
    );
  }
  if (said.placement !== null && said.placement !== stated.place) {
    throw new UsageError(
      `${file.path}: expected a sensor ${said.placement === 'ball' ? 'in the ball' : 'on the wrist'} as --placement says, came one that says ${placement}; leave the option out`,
    );
  }
  if (said.mount !== null && said.mount !== stated.mount) {
    throw new UsageError(
      `${file.path}: expected a sensor at ${said.mount} as --mount says, came one that says ${placement}; leave the option out`,
    );
  }
  return stated;
}

function parseSimulated(text: string | undefined): boolean | null {
  return text === 'true' ? true : text === 'false' ? false : null;
}
