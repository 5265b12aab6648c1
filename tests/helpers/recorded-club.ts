import { linkSync, mkdirSync } from 'node:fs';
import path from 'node:path';
import { databaseFile, recordingsFolder } from '../../src/server/practice/practice-keeper.ts';
import { ClubStore } from '../../src/sessions/database/club-store.ts';
import { RecordingWriter } from '../../src/sessions/recording/recording-writer.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';
import { drawEndlessPlan } from '../../src/simulate/draw-plan.ts';
import { encodePractice } from '../../src/simulate/encoded-practice.ts';
import type { ActPlan } from '../../src/simulate/practice-plan.ts';
import { drawSensor } from '../../src/simulate/sensor-model.ts';
import { coach } from '../sessions/database/opened-store.ts';

/** A simulated act takes about this long, s. */
const actS = 7;

/** Records a practice of some length of a sensor at 200 Hz, its acts spread evenly over it. @returns its length, s. */
export async function recordPractice(file: string, seed: string, durationS: number, actCount: number): Promise<number> {
  const plan = drawEndlessPlan(seed);
  const acts: ActPlan[] = [];
  for (let i = 0; i < actCount; i++) {
    const next = plan.next();
    if (next.done) break;
    acts.push(next.value, { kind: 'idle', durationS: Math.max(1, durationS / actCount - actS) });
  }
  const sensor = drawSensor(seed, { rateHz: 200 });
  const { description, chunks } = encodePractice({ seed, acts, sensor });
  const writer = await RecordingWriter.create(file);
  let firstS: number | null = null;
  let lastS = 0;
  for (const { notifications } of chunks) {
    for (const notification of notifications) {
      if (firstS === null) await writer.describe(sensor.sensorId, description, notification.hostTimeS);
      firstS ??= notification.hostTimeS;
      lastS = notification.hostTimeS;
      await writer.add(notification);
    }
  }
  await writer.close();
  return lastS - (firstS ?? 0);
}

/** Makes a data folder with sessions, each with a recording; recordings are used again and again. */
export async function makeRecordedClub(
  dataFolder: string,
  recordings: readonly string[],
  count: number,
): Promise<void> {
  const folder = path.join(dataFolder, recordingsFolder);
  mkdirSync(folder, { recursive: true });
  let nowS = 1_764_000_000;
  const store = await ClubStore.open({ file: path.join(dataFolder, databaseFile), nowS: () => nowS });
  for (let index = 0; index < count; index++) {
    const recording = `practice-${String(index).padStart(3, '0')}.mcap`;
    linkSync(recordings[index % recordings.length] as string, path.join(folder, recording));
    const words = { name: '', timeZone: 'UTC', simulated: false, recording, settings: defaultBallSettings };
    const id = await store.sessions.start(coach, words);
    nowS += 3600;
    await store.sessions.end(coach, id);
  }
  for (const file of recordings) {
    // Sensors are known to a club before their shots are.
    const seed = path.basename(file, '.mcap');
    await store.players.seeSensor({
      id: drawSensor(seed, { rateHz: 200 }).sensorId,
      placement: 'ball',
      description: '',
    });
  }
  await store.close();
}
