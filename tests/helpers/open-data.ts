import { existsSync, readFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import type { ImuBlock } from '../../src/foundation/imu-block.ts';

/** Folder of recordings made by others; not part of the project. */
export const openDataDir = resolve(process.env.OPEN_DATA_DIR ?? '../shared/open-data');

/** @returns whether a folder of open recordings is there; tests without it say "skipped: no data". */
export function hasOpenData(folder: string): boolean {
  const present = existsSync(join(openDataDir, folder));
  if (!present) process.stdout.write(`skipped: no data in ${folder} (set OPEN_DATA_DIR)\n`);
  return present;
}

/** Reads a plain CSV of `t_s` and three or six axes; deliberately apart from the project's own reader. */
export function readOpenCsv(folder: string, file: string): ImuBlock {
  const lines = readFileSync(join(openDataDir, folder, file), 'utf8')
    .trim()
    .split('\n')
    .slice(1);
  const rows = lines.map((line) => line.split(',').map(Number));
  const hasGyro = (rows[0]?.length ?? 0) >= 7;
  const length = rows.length;
  const timeS = new Float64Array(length);
  const accelMps2 = new Float64Array(3 * length);
  const gyroRadps = hasGyro ? new Float64Array(3 * length) : null;
  for (const [i, row] of rows.entries()) {
    timeS[i] = row[0] as number;
    accelMps2.set(row.slice(1, 4), 3 * i);
    gyroRadps?.set(row.slice(4, 7), 3 * i);
  }
  return { length, timeS, accelMps2, gyroRadps, flags: new Uint8Array(length) };
}
