import type { ClubStore } from '../../sessions/database/club-store.ts';
import { calibrationId } from '../../sessions/database/sensor-calibration-records.ts';
import type { JsonSensorCalibrations, SensorCalibrationStore } from '../../sessions/sensor-calibrations.ts';

/**
 * Brings the calibrations of a court's file into its database, from where they are handed over, and those of other courts from there into
 * the file, which all commands read. None is changed or taken away: which one counts, the newest that makes sense, is decided where it is used.
 *
 * @throws SeamwiseError `calibration-file`.
 */
export async function shareCalibrations(
  { calibrations }: Pick<ClubStore, 'calibrations'>,
  file: JsonSensorCalibrations,
): Promise<void> {
  const [here, told] = [await file.all(), await calibrations.all()];
  const [inFile, inDatabase] = [new Set(here.map(calibrationId)), new Set(told.map(calibrationId))];
  for (const each of here) if (!inDatabase.has(calibrationId(each))) await calibrations.add(each);
  for (const each of told) if (!inFile.has(calibrationId(each))) await file.add(each);
}

/** @returns what is known of sensors in two places as one; the first one is added to. */
export function bothCalibrations(one: SensorCalibrationStore, other: SensorCalibrationStore): SensorCalibrationStore {
  return {
    add: (calibration) => one.add(calibration),
    of: async (sensorId) =>
      [...(await one.of(sensorId)), ...(await other.of(sensorId))].sort((a, b) => b.madeAtS - a.madeAtS),
  };
}
