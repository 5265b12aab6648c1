import type { SensorPlace } from '../../live/shot-tracker.ts';
import { openRecordingFile, startsAsMcap } from '../../sessions/recording-file.ts';
import type { ArmMount, BallSettings } from '../../shots/shot.ts';
import { UsageError } from '../usage-error.ts';
import { analyzeCsv } from './analyze-csv.ts';
import { analyzeNotifications } from './analyze-notifications.ts';
import type { Analysis } from './compose-analysis.ts';

export interface AnalyzeOptions {
  readonly settings: BallSettings;
  readonly placement: SensorPlace | null;
  /** Where on the arm a sensor was worn, where the person said it. */
  readonly mount: ArmMount | null;
  readonly sensorId: string | null;
  /** Group delay of the sensor's filter, for a recording that cannot state it; null when nothing was said. */
  readonly filterDelayS: number | null;
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
  if (mount !== null && placement === 'ball') {
    throw new UsageError(`option '--mount' is ${mount}: expected only with a sensor on the arm, --placement wrist`);
  }
  if (path === '') {
    throw new UsageError("argument '<file>' is empty: expected the path of a recording, .csv or .mcap");
  }
  const file = await openRecordingFile(path);
  try {
    const onBytes = (bytes: number): void => onProgress(Math.min(1, bytes / file.sizeBytes));
    if (startsAsMcap(file.head) || path.toLowerCase().endsWith('.mcap')) {
      if (filterDelayS !== null) {
        throw new UsageError(
          "option '--filter-delay': expected only with a CSV recording; a .mcap recording states the delay itself",
        );
      }
      return await analyzeNotifications(file, { settings, placement, mount, sensorId, onBytes });
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
    return await analyzeCsv(file, { settings, placement, mount, filterDelayS, onBytes });
  } finally {
    await file.handle.close();
  }
}
