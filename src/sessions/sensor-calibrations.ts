import { randomBytes } from 'node:crypto';
import { mkdir, readFile, rename, rm, writeFile } from 'node:fs/promises';
import path from 'node:path';
import { SeamwiseError } from '../foundation/errors.ts';

type Three = readonly [number, number, number];

/** What a calibration found out about one sensor. True value = (reading − bias) / scale, axis by axis. */
export interface SensorCalibration {
  readonly sensorId: string;
  /** Seconds since the Unix epoch. */
  readonly madeAtS: number;
  readonly accelBiasMps2: Three;
  readonly accelBiasStandardErrorMps2: Three;
  readonly accelScale: Three;
  readonly accelScaleStandardError: Three;
  /** Size of the corrected reading less g in positions that the fit did not have. */
  readonly accelCheckErrorsMps2: readonly number[];
  /** Null without a gyroscope. */
  readonly gyro: {
    readonly biasRadps: Three;
    readonly scale: Three;
    readonly scaleStandardError: Three;
    readonly residualsRad: readonly number[];
  } | null;
}

/** Where calibrations are kept. A file now; whatever else holds them fills the same interface. */
export interface SensorCalibrationStore {
  /** Keeps one more; earlier ones of the sensor stay. */
  add(calibration: SensorCalibration): Promise<void>;
  /** @returns those of one sensor, newest first. */
  of(sensorId: string): Promise<readonly SensorCalibration[]>;
}

export const calibrationFileName = 'sensor-calibrations.json';
const fileVersion = 1;

/** Calibrations in one JSON file of the data folder. A file that is being written is never half there. */
export class JsonSensorCalibrations implements SensorCalibrationStore {
  readonly file: string;

  constructor(dataFolder: string) {
    this.file = path.join(dataFolder, calibrationFileName);
  }

  /** @throws SeamwiseError `calibration-file` when the file cannot be read or written. */
  async add(calibration: SensorCalibration): Promise<void> {
    const calibrations = [...(await this.#read()), calibration];
    const text = `${JSON.stringify({ version: fileVersion, calibrations }, null, 2)}\n`;
    const next = `${this.file}.${randomBytes(4).toString('hex')}.tmp`;
    try {
      await mkdir(path.dirname(this.file), { recursive: true, mode: 0o700 });
      await writeFile(next, text, { mode: 0o600, flush: true });
      await rename(next, this.file);
    } catch (error) {
      await rm(next, { force: true }).catch(() => {});
      throw this.#fault('it cannot be written', error);
    }
  }

  /** @returns those of all sensors. @throws SeamwiseError `calibration-file` when the file cannot be read. */
  all(): Promise<readonly SensorCalibration[]> {
    return this.#read();
  }

  /** @throws SeamwiseError `calibration-file` when the file cannot be read. */
  async of(sensorId: string): Promise<readonly SensorCalibration[]> {
    const own = (await this.#read()).filter((calibration) => calibration.sensorId === sensorId);
    return own.sort((one, other) => other.madeAtS - one.madeAtS);
  }

  async #read(): Promise<readonly SensorCalibration[]> {
    let text: string;
    try {
      text = await readFile(this.file, 'utf8');
    } catch (error) {
      if ((error as NodeJS.ErrnoException).code === 'ENOENT') return [];
      throw this.#fault('it cannot be read', error);
    }
    let content: unknown;
    try {
      content = JSON.parse(text);
    } catch (error) {
      throw this.#fault('it is no JSON', error);
    }
    const { version, calibrations } = (content ?? {}) as { version?: unknown; calibrations?: unknown };
    if (version !== fileVersion) {
      throw this.#fault(`expected version ${fileVersion}, it says ${String(version)}`, null);
    }
    if (!Array.isArray(calibrations) || !calibrations.every(isCalibration)) {
      throw this.#fault('it holds something else than calibrations', null);
    }
    return calibrations;
  }

  #fault(what: string, error: unknown): SeamwiseError {
    const why = error instanceof Error ? ` (${error.message})` : '';
    return new SeamwiseError(
      'calibration-file',
      `calibrations of sensors in ${this.file}: ${what}${why}. Move the file away to begin a new one.`,
    );
  }
}

/** @returns whether it has the form of a calibration. */
export function isCalibration(value: unknown): value is SensorCalibration {
  if (typeof value !== 'object' || value === null) return false;
  const { sensorId, madeAtS, accelBiasMps2, accelScale, gyro } = value as Partial<SensorCalibration>;
  const isThree = (each: unknown) => Array.isArray(each) && each.length === 3 && each.every(Number.isFinite);
  return (
    typeof sensorId === 'string' &&
    Number.isFinite(madeAtS) &&
    isThree(accelBiasMps2) &&
    isThree(accelScale) &&
    (gyro === null || (typeof gyro === 'object' && isThree(gyro.biasRadps) && isThree(gyro.scale)))
  );
}
