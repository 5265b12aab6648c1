import path from 'node:path';
import { openTracker, type SensorPlace } from '../../live/shot-tracker.ts';
import type { CsvMapping } from '../../sessions/exchange/csv-mapping.ts';
import { CsvRecording } from '../../sessions/exchange/csv-recording.ts';
import type { OpenedFile } from '../../sessions/recording-file.ts';
import type { RecordingWarning } from '../../sessions/unreadable.ts';
import type { ArmMount, BallSettings } from '../../shots/shot.ts';
import type { SpinReference } from '../../shots/wrist/backspin.ts';
import { type Analysis, composeAnalysis } from './compose-analysis.ts';
import { readFilterDelay } from './filter-delay.ts';
import { refuseRate } from './refuse-rate.ts';
import { ShotCollector } from './shot-collector.ts';
import { countedFrom } from './shot-times.ts';

const slowRemedy = 'If the times are not seconds, name their column t_ms, t_us or t_ns; otherwise record faster.';

export interface CsvAnalysisOptions {
  readonly settings: BallSettings;
  readonly placement: SensorPlace;
  readonly mount: ArmMount | null;
  /** Reference shots of the player at that mount. */
  readonly spinReferences: readonly SpinReference[];
  /** Which columns are what, where their names do not say it. */
  readonly mapping: CsvMapping | null;
  /** Group delay of the sensor's filter, which a CSV recording cannot state; null when nobody told it. */
  readonly filterDelayS: number | null;
  /** Told how many bytes of the file have been read. */
  readonly onBytes: (bytes: number) => void;
}

/**
 * Analyses a CSV recording of one sensor.
 *
 * @throws UnreadableRecordingError when it cannot be read.
 */
export async function analyzeCsv(
  file: OpenedFile,
  { settings, placement, mount, spinReferences, mapping, filterDelayS, onBytes }: CsvAnalysisOptions,
): Promise<Analysis> {
  const recording = await CsvRecording.open(file, mapping);
  const { columns } = recording;
  const delay = readFilterDelay(filterDelayS, recording.traits);
  const traits = recording.traits && { ...recording.traits, filterDelayS: filterDelayS ?? 0 };
  if (traits) refuseRate(file, traits.nominalRateHz, slowRemedy);
  const tracker = traits && openTracker(placement, traits, settings, { mount, spinReferences }, false);
  const collector = new ShotCollector();
  let originS: number | null = null;
  for await (const block of recording.blocks(onBytes)) {
    originS ??= block.timeS[0] as number;
    if (tracker) for (const event of tracker.push(countedFrom(originS, block))) collector.take(event);
  }
  if (tracker) collector.finish(tracker.finish());
  const { rows, badRows, startS, endS, gapCount, clippedRows, warnings } = recording.report();
  return composeAnalysis({
    settings,
    traits,
    collector,
    times: { originS: originS ?? 0, sharedErrorS: delay.doubtS },
    recording: {
      file: path.basename(file.path),
      format: 'csv',
      placement,
      mount: placement === 'wrist' ? mount : null,
      simulated: null,
      sensorId: null,
      hasGyro: columns.hasGyro,
      sampleCount: rows,
      sampleRateHz: traits === null ? null : traits.nominalRateHz,
      startS,
      durationS: startS === null || endS === null ? 0 : endS - startS,
      timeZeroTick: null,
      gapCount,
      clippedShare: rows === 0 ? 0 : clippedRows / rows,
      badRows: badRows.count,
      badRowExamples: [...badRows.first],
      ignoredColumns: [...columns.ignored],
      notifications: null,
      damage: null,
      warnings: [...warnings, ...delay.warnings, ...noGyroWarnings(placement, columns.hasGyro)],
    },
  });
}

/** Without a gyroscope a flight has no speed and no height. */
function noGyroWarnings(placement: SensorPlace, hasGyro: boolean): RecordingWarning[] {
  if (placement !== 'ball' || hasGyro) return [];
  const message =
    "without the gyroscope's columns a flight shows no speed and no height, so passes and tosses that fly as long as a shot are told as shots, too (marked pass-or-shot)";
  return [{ code: 'no-gyro', message }];
}
