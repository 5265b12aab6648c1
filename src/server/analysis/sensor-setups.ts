import type { SensorCorrection } from '../../live/sensor-correction.ts';
import { noSetup, type SensorSetup } from '../../live/sensor-setup.ts';
import type { PlayerRecords } from '../../sessions/database/player-records.ts';
import type { SensorCalibration, SensorCalibrationStore } from '../../sessions/sensor-calibrations.ts';
import type { WristCalibrationStore } from '../../sessions/wrist-calibration/wrist-calibration-store.ts';
import type { BallSettings } from '../../shots/shot.ts';

export interface SensorSetupSources {
  readonly calibrations: SensorCalibrationStore;
  readonly references: WristCalibrationStore;
  readonly players: Pick<PlayerRecords, 'sensors' | 'get'>;
  /** Told why a part of a setup could not be had; the analysis goes on without it. */
  readonly onTrouble: (sensorId: string, why: string) => void;
}

/**
 * Gathers what is known of a sensor: its newest usable calibration, and its owner's reference shots. Never rejects: a practice
 * goes on without them.
 */
export async function sensorSetup(sensorId: string, sources: SensorSetupSources): Promise<SensorSetup> {
  const { calibrations, references, players, onTrouble } = sources;
  const tell = (error: unknown): null => {
    onTrouble(sensorId, error instanceof Error ? error.message : String(error));
    return null;
  };
  const calibration = await calibrations.of(sensorId).then(newestUsable).catch(tell);
  const ownerId = await players
    .sensors()
    .then((all) => all.find(({ id }) => id === sensorId)?.owner_player_id ?? null)
    .catch(tell);
  const spinReferences =
    ownerId === null
      ? null
      : await players
          .get(ownerId)
          .then(({ id, pseudonym }) => references.references({ id, name: pseudonym }))
          .catch(tell);
  return {
    ...noSetup,
    ...(calibration && { correction: correctionOf(calibration), calibratedAtS: calibration.madeAtS }),
    ...(spinReferences && { spinReferences }),
  };
}

/** @returns what a result was made with, as it is stored beside it. */
export function resultParameters(settings: BallSettings, setups: Iterable<readonly [string, SensorSetup]>) {
  const sensors = [...setups].filter(([, setup]) => setup.correction !== null || setup.spinReferences.length > 0);
  const told = sensors.map(([sensorId, { calibratedAtS, spinReferences }]) => {
    return [sensorId, { calibratedAtS, spinReferenceCount: spinReferences.length }] as const;
  });
  return told.length === 0 ? settings : { ...settings, sensors: Object.fromEntries(told) };
}

/** No part that still measures is further off than this; what says so was calibrated wrongly. */
const mostBiasMps2 = 3;
const mostBiasRadps = 0.5;
const mostScaleOff = 0.2;
const mostCheckErrorMps2 = 0.3;

/** @returns the newest calibration that makes sense, or null. */
export function newestUsable(calibrations: readonly SensorCalibration[]): SensorCalibration | null {
  const newestFirst = [...calibrations].sort((one, other) => other.madeAtS - one.madeAtS);
  return newestFirst.find(isUsable) ?? null;
}

/** @returns what a calibration corrects. */
export function correctionOf({ accelBiasMps2, accelScale, gyro }: SensorCalibration): SensorCorrection {
  return { accelBiasMps2, accelScale, gyro: gyro && { biasRadps: gyro.biasRadps, scale: gyro.scale } };
}

function isUsable(calibration: SensorCalibration): boolean {
  const checks = calibration.accelCheckErrorsMps2 ?? [];
  return isUsableCorrection(correctionOf(calibration)) && checks.every((off) => Math.abs(off) <= mostCheckErrorMps2);
}

/** Whether a sensor that still measures can be off by this much. */
export function isUsableCorrection({ accelBiasMps2, accelScale, gyro }: SensorCorrection): boolean {
  // Written this way round because a comparison with NaN is false.
  const within = (values: readonly number[], middle: number, most: number) =>
    values.every((value) => Math.abs(value - middle) <= most);
  return (
    within(accelBiasMps2, 0, mostBiasMps2) &&
    within(accelScale, 1, mostScaleOff) &&
    (gyro === null || (within(gyro.biasRadps, 0, mostBiasRadps) && within(gyro.scale, 1, mostScaleOff)))
  );
}
