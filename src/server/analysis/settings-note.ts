/** What a recording says of how it was analysed: its note of kind `settings`, which other programs may have written. */
import type { SensorCorrection } from '../../live/sensor-correction.ts';
import { noSetup, type SensorSetup } from '../../live/sensor-setup.ts';
import { type ArmMount, armMounts, type BallSettings } from '../../shots/shot.ts';
import type { SpinReference } from '../../shots/wrist/backspin.ts';
import { isUsableCorrection } from './sensor-setups.ts';

export interface SettingsNote extends Partial<BallSettings> {
  /** What was known of sensors beside the recording, by id: goes along where the recording leaves its club. */
  readonly setups?: Readonly<Record<string, SensorSetup>>;
}

/** @returns what makes sense of a note; whatever does not is left out. */
export function readSettingsNote(document: unknown): SettingsNote {
  const { ballSize, hoopHeightM, releaseHeightM, distanceM, setups } = fieldsOf(document);
  const size = ([7, 6, 5] as const).find((each) => each === ballSize);
  return {
    ...(size !== undefined && { ballSize: size }),
    ...(isWithin(hoopHeightM, 1.5, 4) && { hoopHeightM }),
    ...(isWithin(releaseHeightM, 0.5, 4) && { releaseHeightM }),
    ...(isWithin(distanceM, 0.5, 30) && { distanceM }),
    ...(setups !== undefined && {
      setups: Object.fromEntries(Object.entries(fieldsOf(setups)).map(([id, setup]) => [id, readSetup(setup)])),
    }),
  };
}

function readSetup(document: unknown): SensorSetup {
  const { correction, calibratedAtS, spinReferences } = fieldsOf(document);
  const read = readCorrection(correction);
  return {
    ...noSetup,
    ...(read && { correction: read, calibratedAtS: isNumber(calibratedAtS) ? calibratedAtS : null }),
    spinReferences: Array.isArray(spinReferences) ? spinReferences.flatMap(readReference) : [],
  };
}

function readCorrection(document: unknown): SensorCorrection | null {
  const { accelBiasMps2, accelScale, gyro } = fieldsOf(document);
  const { biasRadps, scale } = fieldsOf(gyro);
  if (!isThree(accelBiasMps2) || !isThree(accelScale)) return null;
  if (gyro !== null && !(isThree(biasRadps) && isThree(scale))) return null;
  const correction = {
    accelBiasMps2,
    accelScale,
    gyro: isThree(biasRadps) && isThree(scale) ? { biasRadps, scale } : null,
  };
  return isUsableCorrection(correction) ? correction : null;
}

function readReference(document: unknown): SpinReference[] {
  const { snapRateRadps, snapRateSdRadps, spinRps, spinSdRps, place } = fieldsOf(document);
  const mount = armMounts.find((each: ArmMount) => each === place);
  const isSound =
    isWithin(snapRateRadps, 0, 100) &&
    isWithin(snapRateSdRadps, 0, 100) &&
    isWithin(spinRps, 0, 10) &&
    isWithin(spinSdRps, 0, 10);
  return isSound && mount ? [{ snapRateRadps, snapRateSdRadps, spinRps, spinSdRps, place: mount }] : [];
}

function fieldsOf(value: unknown): Readonly<Record<string, unknown>> {
  return typeof value === 'object' && value !== null ? (value as Record<string, unknown>) : {};
}

function isNumber(value: unknown): value is number {
  return typeof value === 'number' && Number.isFinite(value);
}

function isWithin(value: unknown, least: number, most: number): value is number {
  return isNumber(value) && value >= least && value <= most;
}

function isThree(value: unknown): value is readonly [number, number, number] {
  return Array.isArray(value) && value.length === 3 && value.every(isNumber);
}
