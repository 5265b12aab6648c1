import path from 'node:path';
import { SeamwiseError } from '../../foundation/errors.ts';
import { type ChainEvent, SensorChain } from '../../live/notification-chain.ts';
import { placeOf, type SensorPlace } from '../../live/shot-tracker.ts';
import { decodeSensorDescription, type SensorDescription, sensorTraits } from '../../protocol/sensor-description.ts';
import { correctionOf } from '../../server/analysis/sensor-setups.ts';
import { type RecordingEntry, RecordingReader } from '../../sessions/recording/recording-reader.ts';
import type { OpenedFile } from '../../sessions/recording-file.ts';
import type { SensorCalibration } from '../../sessions/sensor-calibrations.ts';
import { type RecordingWarning, UnreadableRecordingError } from '../../sessions/unreadable.ts';
import type { ArmMount, BallSettings, ShotEvent } from '../../shots/shot.ts';
import { UsageError } from '../usage-error.ts';
import { type Analysis, composeAnalysis } from './compose-analysis.ts';
import { type PlayerReferences, readCalibration, referencesAt, refusePlayerOfBall } from './kept-knowledge.ts';
import { type HeardSensor, mergeAnalyses } from './merge-analyses.ts';
import { refuseRate } from './refuse-rate.ts';
import { ShotCollector } from './shot-collector.ts';

export interface NotificationAnalysisOptions {
  readonly settings: BallSettings;
  /** Where the person says the sensor is; null when nothing was said. */
  readonly placement: SensorPlace | null;
  readonly mount: ArmMount | null;
  /** Sensor to analyse, where the recording holds several; the start of its id is enough. */
  readonly sensorId: string | null;
  /** Folder with calibrations; null: none are applied. */
  readonly dataFolder: string | null;
  /** Of the player who wears the sensor on the arm; null where nobody was named. */
  readonly references: PlayerReferences | null;
  /** Whether it has to hold a sensor in the ball and one on the arm. */
  readonly both: boolean;
  readonly onBytes: (bytes: number) => void;
}

/**
 * Analyses a recording of notifications by the same chain that serves a live sensor.
 *
 * @throws UnreadableRecordingError when nothing can be read; UsageError when a choice is missing or cannot be served.
 */
export async function analyzeNotifications(file: OpenedFile, options: NotificationAnalysisOptions): Promise<Analysis> {
  const reader = await RecordingReader.open(file);
  const pair = options.sensorId === null && options.placement === null ? pairIn(reader) : null;
  if (pair) return analyzeBoth(file, reader, pair, options);
  if (options.both) {
    throw new UsageError(
      `${file.path}: option '--both': expected a recording of one sensor in the ball and one on the arm, came ${reader.sensors.size} sensors that are not such a pair`,
    );
  }
  const sensorId = chooseSensor(file, reader, options.sensorId);
  const replay = new SensorReplay(file, options);
  await replay.describe(reader.sensors.get(sensorId ?? '') ?? null);
  let onlySensor = sensorId;
  for await (const entry of reader.entries(options.onBytes)) {
    onlySensor ??= entry.sensorId;
    if (entry.sensorId === onlySensor) await replay.take(entry);
  }
  return replay.finish(reader).analysis;
}

interface Pair {
  readonly ball: string;
  readonly wrist: string;
}

/** @returns the two sensors of a recording of exactly one in the ball and one on the arm, or null. */
function pairIn(reader: RecordingReader): Pair | null {
  if (reader.sensors.size !== 2) return null;
  const found = new Map<SensorPlace, string>();
  for (const [sensorId, bytes] of reader.sensors) {
    const place = bytes === null ? null : placeIn(bytes);
    if (place) found.set(place, sensorId);
  }
  const ball = found.get('ball');
  const wrist = found.get('wrist');
  return ball !== undefined && wrist !== undefined ? { ball, wrist } : null;
}

function placeIn(bytes: Uint8Array): SensorPlace | null {
  try {
    return placeOf(decodeSensorDescription(bytes).placement)?.place ?? null;
  } catch {
    return null;
  }
}

async function analyzeBoth(
  file: OpenedFile,
  reader: RecordingReader,
  pair: Pair,
  options: NotificationAnalysisOptions,
): Promise<Analysis> {
  const ball = new SensorReplay(file, { ...options, mount: null, references: null });
  const wrist = new SensorReplay(file, options);
  await ball.describe(reader.sensors.get(pair.ball) ?? null);
  await wrist.describe(reader.sensors.get(pair.wrist) ?? null);
  for await (const entry of reader.entries(options.onBytes)) {
    if (entry.sensorId === pair.ball) await ball.take(entry);
    else if (entry.sensorId === pair.wrist) await wrist.take(entry);
  }
  const heard = (replayed: ReplayedSensor): HeardSensor => {
    const { clock, sensorId } = replayed;
    if (clock === null) {
      throw new UsageError(
        `${file.path}: sensor ${sensorId} has no host times to put the shots of both sensors together by: analyse them one by one with --sensor <id>`,
      );
    }
    return { ...replayed, clock };
  };
  return mergeAnalyses(heard(ball.finish(reader)), heard(wrist.finish(reader)));
}

/** What came of one sensor, with its clock where the host's times were known. */
type ReplayedSensor = Omit<HeardSensor, 'clock'> & { readonly clock: HeardSensor['clock'] | null };

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
  #calibration: SensorCalibration | null = null;

  constructor(file: OpenedFile, options: NotificationAnalysisOptions) {
    this.#file = file;
    this.#options = options;
  }

  /** @param bytes a sensor description, or null where none was found; only the first that can be read counts. */
  async describe(bytes: Uint8Array | null): Promise<void> {
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
    if (this.#worn.place === 'ball') refusePlayerOfBall(this.#options.references);
    this.#description = description;
    const { calibration, warnings } = await readCalibration(this.#options.dataFolder, description.sensorId);
    this.#warnings.push(...warnings);
    this.#calibration = calibration;
    this.#chain = new SensorChain({
      sensorName: description.sensorId,
      description,
      ballSettings: this.#options.settings,
      wristSettings: {
        mount: this.#worn.mount,
        spinReferences: this.#worn.place === 'wrist' ? referencesAt(this.#options.references, this.#worn.mount) : [],
      },
      place: this.#worn.place,
      correction: calibration && correctionOf(calibration),
      firstEstimates: false,
    });
  }

  async take(entry: RecordingEntry): Promise<void> {
    if (entry.kind === 'description') await this.describe(entry.bytes);
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

  finish(reader: RecordingReader): ReplayedSensor {
    const description = this.#description;
    if (!this.#chain || !description) throw this.#nothingReadable(reader);
    this.#collector.finish(this.#shotEvents(this.#chain.finish()));
    const summary = this.#chain.summary();
    if (summary.samples === 0) throw this.#nothingReadable(reader);
    const traits = sensorTraits(description);
    const { settings } = this.#options;
    const analysis = composeAnalysis({
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
        calibratedAt: this.#calibration && new Date(1000 * this.#calibration.madeAtS).toISOString(),
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
    const { shots, rejected } = this.#collector;
    return { sensorId: description.sensorId, analysis, shots, rejected, clock: summary.clock.host };
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
