import { readdirSync } from 'node:fs';
import { join } from 'node:path';
import type { ImuBlock } from '../../src/foundation/imu-block.ts';
import { defaultWristSettings, type ShotEvent } from '../../src/shots/shot.ts';
import { WristTracker } from '../../src/shots/wrist/wrist-tracker.ts';
import { hasOpenData, openDataDir, readOpenCsv } from './open-data.ts';

/**
 * SOURCE: UTD-MHAD, Chen, Jafari and Kehtarnavaz, ICIP 2015: a wrist sensor at 50 Hz, ±8 g, ±1000 °/s.
 * MADE BY: others; action 7 is "basketball shooting", one motion a file, very likely without a ball.
 * LICENCE: not stated in the copy; read by path, not part of the project.
 */
const folder = 'utd-mhad';
const shooting = 'a07';

/** What the wrist path said of one recording. */
export interface MimedResult {
  readonly file: string;
  readonly action: string;
  readonly subject: number;
  readonly isShooting: boolean;
  readonly shots: number;
  readonly rejected: readonly string[];
}

/** @returns files of these subjects, none where the recordings are not there. */
export function mimedFiles(subjects: readonly number[]): string[] {
  if (!hasOpenData(folder)) return [];
  return readdirSync(join(openDataDir, folder))
    .filter((file) => file.endsWith('.csv') && subjects.includes(subjectOf(file)))
    .sort();
}

/** Runs the wrist path over one recording. */
export function runMimed(file: string, withGyro: boolean): MimedResult {
  const read = readOpenCsv(folder, file);
  const block: ImuBlock = withGyro ? read : { ...read, gyroRadps: null };
  const tracker = new WristTracker(
    { nominalRateHz: 50, accelRangeMps2: 8 * 9.80665, gyroRangeRadps: (1000 * Math.PI) / 180, filterDelayS: 0 },
    defaultWristSettings,
  );
  const events: ShotEvent[] = [...tracker.push(block), ...tracker.finish()];
  const action = file.slice(0, 3);
  return {
    file,
    action,
    subject: subjectOf(file),
    isShooting: action === shooting,
    shots: events.filter((event) => event.kind === 'shot').length,
    rejected: events.flatMap((event) => (event.kind === 'rejected' ? [event.rejected.kind] : [])),
  };
}

function subjectOf(file: string): number {
  return Number(/_s(\d+)_/.exec(file)?.[1]);
}
