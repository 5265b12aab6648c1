import { RecordingWriter } from '../../src/sessions/recording/recording-writer.ts';
import type { encodePairedPractice } from '../../src/simulate/arm/wrist-encoded.ts';

/** Writes a practice of a ball and an arm sensor as the service records one; the ball's id comes first. */
export async function writePair(
  file: string,
  { descriptions, sensors, chunks }: ReturnType<typeof encodePairedPractice>,
): Promise<{ sensorIds: string[]; startS: number }> {
  const notifications = [...chunks].flatMap((chunk) => chunk.notifications);
  const startS = notifications[0]?.hostTimeS ?? 0;
  const writer = await RecordingWriter.create(file);
  for (const place of ['ball', 'wrist'] as const) {
    await writer.describe(sensors[place].sensorId, descriptions[place], startS);
  }
  for (const notification of notifications) await writer.add(notification);
  await writer.close();
  return { sensorIds: [sensors.ball.sensorId, sensors.wrist.sensorId], startS };
}
