/**
 * SOURCE: orientation benchmark, trial 07 "undisturbed fast rotation", BROAD, Laidig et al., Data 6(7):72, 2021 (CC BY 4.0); falling and
 * thrown phones, Saliby, arXiv 2410.14172 (CC0); spinning throw of a disc, flight logs of misc-protolabs/flatball-ins (CC BY).
 * MADE BY: others, with good sensors in right units.
 * LICENCE: not part of the project; read by path.
 * TOLERANCE: none: of a sensor that is right, nothing wrong may be said, however it was thrown about. |a| at rest within 10 %, the
 * share from which on the check doubts the unit.
 */
import { readdirSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { SensorCheck, type SensorCheckReport } from '../../src/signal/sensor-check.ts';
import { hasOpenData, openDataDir, readOpenCsv } from '../helpers/open-data.ts';

function check(folder: string, file: string): SensorCheckReport {
  const block = readOpenCsv(folder, file);
  const rateHz = (block.length - 1) / (block.timeS[block.length - 1]! - block.timeS[0]!);
  const traits = { nominalRateHz: rateHz, accelRangeMps2: null, gyroRangeRadps: null, filterDelayS: 0 };
  const sensorCheck = new SensorCheck(traits);
  sensorCheck.push(block);
  return sensorCheck.finish({
    ...{ sampleRateHz: rateHz, sampleRateStandardErrorHz: 0, gapCount: 0, missingSamples: 0, longestGapS: 0 },
    ...{ corruptCount: 0, duplicateCount: 0, restartCount: 0, clockDriftPpm: null, clockDriftStandardErrorPpm: null },
  });
}

describe.each([['broad'], ['falling-phone'], ['flatball']])('recordings of good sensors, %s', (folder) => {
  it.skipIf(!hasOpenData(folder))('have nothing wrong found in them', () => {
    const files = readdirSync(join(openDataDir, folder)).filter((name) => name.endsWith('.csv'));
    expect(files.length).toBeGreaterThan(0);
    let rested = 0;
    for (const file of files) {
      const { findings, rest } = check(folder, file);
      expect(
        findings.filter(({ weight }) => weight === 'wrong'),
        file,
      ).toEqual([]);
      if (rest === null) continue;
      rested += 1;
      expect(Math.abs(rest.forceMps2 / 9.80665 - 1)).toBeLessThan(0.1);
    }
    expect(rested).toBeGreaterThan(0);
  });
});
