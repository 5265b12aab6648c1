/** What the data folder knows that a recording does not: calibrations of sensors, reference shots of players. */
import path from 'node:path';
import { SeamwiseError } from '../../foundation/errors.ts';
import { newestUsable } from '../../server/analysis/sensor-setups.ts';
import { spinReferenceFile } from '../../server/spin-references.ts';
import { JsonSensorCalibrations, type SensorCalibration } from '../../sessions/sensor-calibrations.ts';
import type { RecordingWarning } from '../../sessions/unreadable.ts';
import { JsonWristCalibrationStore } from '../../sessions/wrist-calibration/json-wrist-calibration-store.ts';
import type { ArmMount } from '../../shots/shot.ts';
import type { SpinReference } from '../../shots/wrist/backspin.ts';
import { UsageError } from '../usage-error.ts';
import { spinPlayerOf } from '../wrist/spin-player.ts';

/** Reference shots of the player who was asked for, at whatever mount. */
export interface PlayerReferences {
  readonly player: string;
  readonly file: string;
  readonly references: readonly SpinReference[];
}

/** @throws SeamwiseError of the store when its file cannot be read. */
export async function readPlayerReferences(dataFolder: string, player: string): Promise<PlayerReferences> {
  const file = path.join(dataFolder, spinReferenceFile);
  const whose = await spinPlayerOf(dataFolder, player);
  return { player, file, references: await new JsonWristCalibrationStore(file).references(whose) };
}

/**
 * @param mount where on the arm the sensor was; null where nobody says it.
 * @returns the reference shots for that mount.
 * @throws UsageError when there are none.
 */
export function referencesAt(known: PlayerReferences | null, mount: ArmMount | null): readonly SpinReference[] {
  if (known === null) return [];
  const { player, file, references } = known;
  if (mount === null) {
    throw new UsageError(
      `option '--player' is ${player}: reference shots are of one place on the arm, and the recording does not say it: expected --mount too`,
    );
  }
  const own = references.filter(({ place }) => place === mount);
  if (own.length > 0) return own;
  const came = references.length === 0 ? 'none at all' : `${references.length} at another place on the arm`;
  throw new UsageError(
    `option '--player' is ${player}: expected reference shots with a sensor at ${mount} in ${file}, came ${came}; add some with "seamwise spin-reference add" or "pair", or leave the option out`,
  );
}

/** @throws UsageError: the reference shots of a player have no use for a ball. */
export function refusePlayerOfBall(known: PlayerReferences | null): void {
  if (known === null) return;
  throw new UsageError(`option '--player' is ${known.player}: expected only with a sensor on the arm`);
}

/** The calibration to use for a sensor, or a warning where that cannot be known. */
export async function readCalibration(
  dataFolder: string | null,
  sensorId: string,
): Promise<{ readonly calibration: SensorCalibration | null; readonly warnings: readonly RecordingWarning[] }> {
  if (dataFolder === null) return { calibration: null, warnings: [] };
  try {
    const all = await new JsonSensorCalibrations(dataFolder).of(sensorId);
    const calibration = newestUsable(all);
    const message = `none of the ${all.length} calibrations of the sensor makes sense, so its readings were taken as they are; calibrate it again`;
    const isBad = calibration === null && all.length > 0;
    return { calibration, warnings: isBad ? [{ code: 'calibration-unusable', message }] : [] };
  } catch (error) {
    if (!(error instanceof SeamwiseError)) throw error;
    const message = `${error.message.replace(/\.$/, '')} The readings were taken as they are`;
    return { calibration: null, warnings: [{ code: error.code, message }] };
  }
}
