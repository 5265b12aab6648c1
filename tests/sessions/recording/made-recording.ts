import { readFileSync } from 'node:fs';
import type { SensorNotification } from '../../../src/foundation/sensor-notification.ts';
import { encodeNotification } from '../../../src/protocol/notification.ts';
import { encodeSensorDescription, type SensorDescription } from '../../../src/protocol/sensor-description.ts';
import { type RecordingEntry, RecordingReader } from '../../../src/sessions/recording/recording-reader.ts';
import { RecordingWriter } from '../../../src/sessions/recording/recording-writer.ts';
import { openRecordingFile } from '../../../src/sessions/recording-file.ts';

export const sensorId = '0123456789abcdef0123456789abcdef';

export const description: SensorDescription = {
  sensorId,
  tickUnitS: 1e-6,
  accelRateHz: 200,
  gyroRateHz: 200,
  accelScaleMps2PerLsb: 0.0048,
  gyroScaleRadpsPerLsb: 0.0012,
  accelRangeMps2: 156.9064,
  gyroRangeRadps: 34.906585,
  filterDelayS: 0,
  accelAxes: [1, 2, 3],
  gyroAxes: [1, 2, 3],
  placement: 'ball',
  firmwareVersion: { major: 1, minor: 0, patch: 0 },
};

export const descriptionBytes = encodeSensorDescription(description);

/** @returns n notifications of five samples each, 25 ms apart, from a present-day host time */
export function madeNotifications(n: number, id = sensorId): SensorNotification[] {
  return Array.from({ length: n }, (_, i) => ({
    sensorId: id,
    hostTimeS: 1_764_000_000.123 + i * 0.025,
    bytes: encodeNotification({
      form: 'full',
      startNumber: 1,
      sequence: i % 65_536,
      tick: i * 25_000,
      sampleIndex: i * 5,
      axes: 6,
      samples: Int16Array.from({ length: 30 }, (_, k) => (i * 37 + k * 101) % 2000),
    }),
  }));
}

/** Writes a recording of one sensor. */
export async function writeRecording(file: string, notifications: readonly SensorNotification[]): Promise<Buffer> {
  const writer = await RecordingWriter.create(file, { simulated: 'true' });
  await writer.describe(sensorId, descriptionBytes, notifications[0]?.hostTimeS ?? 0);
  for (const notification of notifications) await writer.add(notification);
  await writer.close();
  return readFileSync(file);
}

/** Reads a recording from start to end. */
export async function readRecording(file: string): Promise<{ reader: RecordingReader; entries: RecordingEntry[] }> {
  const opened = await openRecordingFile(file);
  try {
    const reader = await RecordingReader.open(opened);
    const entries: RecordingEntry[] = [];
    for await (const entry of reader.entries()) entries.push(entry);
    return { reader, entries };
  } finally {
    await opened.handle.close();
  }
}
