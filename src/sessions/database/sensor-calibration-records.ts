import { isCalibration, type SensorCalibration, type SensorCalibrationStore } from '../sensor-calibrations.ts';
import { keyedId } from './keyed-id.ts';
import type { StoreContext } from './store-context.ts';

/** Calibrations of sensors that this club's courts have told each other of, each under what it is of and when it was made. */
export class SensorCalibrationRecords implements SensorCalibrationStore {
  readonly #context: StoreContext;

  constructor(context: StoreContext) {
    this.#context = context;
  }

  /** Keeps one more; one that is known stays as it is. */
  async add(calibration: SensorCalibration): Promise<void> {
    const { db, clubId } = this.#context;
    const { sensorId, madeAtS } = calibration;
    const row = { id: calibrationId(calibration), club_id: clubId, sensor_id: sensorId, made_s: madeAtS };
    await db
      .insertInto('sensor_calibration')
      .values({ ...row, document: JSON.stringify(calibration) })
      .onConflict((conflict) => conflict.columns(['club_id', 'id']).doNothing())
      .execute();
  }

  /** @returns those of all sensors, oldest first. */
  async all(): Promise<readonly SensorCalibration[]> {
    const { db, clubId } = this.#context;
    const rows = db.selectFrom('sensor_calibration').select('document').where('club_id', '=', clubId);
    return read(await rows.orderBy('made_s').orderBy('id').execute());
  }

  async of(sensorId: string): Promise<readonly SensorCalibration[]> {
    const { db, clubId } = this.#context;
    const rows = db.selectFrom('sensor_calibration').select('document').where('club_id', '=', clubId);
    return read(await rows.where('sensor_id', '=', sensorId).orderBy('made_s', 'desc').orderBy('id').execute());
  }
}

/** @returns under what a calibration is known everywhere. */
export function calibrationId({ sensorId, madeAtS }: SensorCalibration): string {
  return keyedId('sensor_calibration', sensorId, String(madeAtS));
}

/** What another program may have written in their place is none. */
function read(rows: readonly { readonly document: string }[]): SensorCalibration[] {
  return rows.flatMap(({ document }) => {
    try {
      const calibration: unknown = JSON.parse(document);
      return isCalibration(calibration) ? [calibration] : [];
    } catch {
      return [];
    }
  });
}
