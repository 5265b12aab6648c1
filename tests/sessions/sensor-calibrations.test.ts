import { readdirSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { describe, expect, it } from 'vitest';
import { JsonSensorCalibrations, type SensorCalibration } from '../../src/sessions/sensor-calibrations.ts';
import { temporaryFolder } from '../helpers/temporary-folder.ts';

const calibration: SensorCalibration = {
  sensorId: 'a'.repeat(32),
  madeAtS: 1_800_000_000,
  accelBiasMps2: [0.1, 0.2, 0.3],
  accelBiasStandardErrorMps2: [0.01, 0.01, 0.01],
  accelScale: [1, 1.01, 0.99],
  accelScaleStandardError: [0.001, 0.001, 0.001],
  accelCheckErrorsMps2: [0.01, -0.02],
  gyro: null,
};

describe('calibrations in a file', () => {
  it('come back newest first, those of one sensor alone', async () => {
    const folder = path.join(temporaryFolder(), 'not', 'there', 'yet');
    const store = new JsonSensorCalibrations(folder);
    expect(await store.of(calibration.sensorId)).toEqual([]);
    const other = { ...calibration, sensorId: 'b'.repeat(32) };
    const later = { ...calibration, madeAtS: calibration.madeAtS + 10 };
    for (const each of [later, calibration, other]) await store.add(each);
    expect(await new JsonSensorCalibrations(folder).of(calibration.sensorId)).toEqual([later, calibration]);
    // Nothing but the file itself is left behind.
    expect(readdirSync(folder)).toEqual(['sensor-calibrations.json']);
  });

  it.each([
    ['{', 'it is no JSON'],
    ['{"version": 2, "calibrations": []}', 'expected version 1, it says 2'],
    ['{"version": 1, "calibrations": [{}]}', 'something else than calibrations'],
    ['null', 'expected version 1, it says undefined'],
  ])('are refused with calibration-file and left alone: %s', async (text, words) => {
    const store = new JsonSensorCalibrations(temporaryFolder());
    writeFileSync(store.file, text);
    const fault = { code: 'calibration-file', message: expect.stringContaining(words) };
    await expect(store.add(calibration)).rejects.toMatchObject(fault);
    await expect(store.of(calibration.sensorId)).rejects.toMatchObject(fault);
  });

  it('say when they cannot be written', async () => {
    const file = path.join(temporaryFolder(), 'file');
    writeFileSync(file, '');
    await expect(new JsonSensorCalibrations(file).add(calibration)).rejects.toMatchObject({ code: 'calibration-file' });
  });
});
