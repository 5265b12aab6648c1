import type { SensorPlace } from '../../live/shot-tracker.ts';
import type { CsvMapping } from '../../sessions/exchange/csv-mapping.ts';
import { openRecordingFile, startsAsMcap } from '../../sessions/recording-file.ts';
import type { ArmMount, BallSettings } from '../../shots/shot.ts';
import { UsageError } from '../usage-error.ts';
import { analyzeCsv } from './analyze-csv.ts';
import { analyzeNotifications } from './analyze-notifications.ts';
import type { Analysis } from './compose-analysis.ts';
import { readPlayerReferences, referencesAt, refusePlayerOfBall } from './kept-knowledge.ts';

export interface AnalyzeOptions {
  readonly settings: BallSettings;
  readonly placement: SensorPlace | null;
  /** Where on the arm a sensor was worn, where the person said it. */
  readonly mount: ArmMount | null;
  readonly sensorId: string | null;
  /** Group delay of the sensor's filter, for a recording that cannot state it; null when nothing was said. */
  readonly filterDelayS: number | null;
  /** Which columns of a CSV recording are what, where their names do not say it. */
  readonly mapping?: CsvMapping | null;
  /** Folder with calibrations and reference shots; null or absent: none are applied. */
  readonly dataFolder?: string | null;
  /** Whose reference shots are used for the backspin; they lie in the data folder. */
  readonly player?: string | null;
  /** Whether a sensor in the ball and one on the arm are to be put together; by default where there is one of each. */
  readonly both?: boolean;
  /** Told how far the reading is, share of the file 0..1. */
  readonly onProgress: (share: number) => void;
}

/**
 * Analyses one recording, CSV or notifications, whichever its first bytes show.
 *
 * @throws UnreadableRecordingError when it cannot be read, UsageError when the options do not fit it.
 */
export async function analyzeFile(path: string, options: AnalyzeOptions): Promise<Analysis> {
  const { settings, placement, mount, sensorId, filterDelayS, onProgress } = options;
  const { dataFolder = null, player = null, both = false, mapping = null } = options;
  if (mount !== null && placement === 'ball') {
    throw new UsageError(`option '--mount' is ${mount}: expected only with a sensor on the arm, --placement wrist`);
  }
  if (path === '') {
    throw new UsageError("argument '<file>' is empty: expected the path of a recording, .csv or .mcap");
  }
  if (both && (placement !== null || sensorId !== null)) {
    throw new UsageError("option '--both': expected without --sensor and --placement, for it takes both sensors");
  }
  const references = player === null || dataFolder === null ? null : await readPlayerReferences(dataFolder, player);
  if (placement === 'ball') refusePlayerOfBall(references);
  const file = await openRecordingFile(path);
  try {
    const onBytes = (bytes: number): void => onProgress(Math.min(1, bytes / file.sizeBytes));
    if (startsAsMcap(file.head) || path.toLowerCase().endsWith('.mcap')) {
      if (filterDelayS !== null) {
        throw new UsageError(
          "option '--filter-delay': expected only with a CSV recording; a .mcap recording states the delay itself",
        );
      }
      if (mapping !== null) {
        throw new UsageError("option '--mapping': expected only with a CSV recording; a .mcap recording needs none");
      }
      return await analyzeNotifications(file, {
        settings,
        placement,
        mount,
        sensorId,
        dataFolder,
        references,
        both,
        onBytes,
      });
    }
    if (placement === null) {
      throw new UsageError(
        `${path} is no .mcap recording, and a CSV recording does not say where the sensor was: say it with --placement ball or --placement wrist`,
      );
    }
    if (sensorId !== null) {
      throw new UsageError(
        "option '--sensor': expected only with a recording that can hold several sensors; a CSV recording holds one",
      );
    }
    if (both) {
      throw new UsageError("option '--both': expected with a .mcap recording; a CSV recording holds one sensor");
    }
    const spinReferences = referencesAt(references, mount);
    return await analyzeCsv(file, { settings, placement, mount, spinReferences, mapping, filterDelayS, onBytes });
  } finally {
    await file.handle.close();
  }
}
