import { mkdirSync } from 'node:fs';
import path from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { systemClock } from '../../src/devices/system-clock.ts';
import { silentLogger } from '../../src/foundation/logger.ts';
import { CourtUploader } from '../../src/server/hub/court-uploader.ts';
import { databaseFile, recordingsFolder } from '../../src/server/practice/practice-keeper.ts';
import { analyseRecording } from '../../src/server/reanalysis/analyse-recording.ts';
import { ClubStore } from '../../src/sessions/database/club-store.ts';
import { analysisVersion, defaultBallSettings } from '../../src/shots/shot.ts';
import { coach } from '../sessions/database/opened-store.ts';
import { recordPractice } from './recorded-club.ts';

export interface RecordingCourt {
  readonly name: string;
  readonly dataFolder: string;
  readonly sessionIds: readonly string[];
  readonly shotCount: number;
}

interface RecordingCourtOptions {
  readonly name: string;
  readonly dataFolder: string;
  readonly hubAddress: string;
  readonly key: string;
  readonly seed: string;
  readonly sessions: number;
  readonly sessionS: number;
}

/** A court that recorded practices of simulated sensors, and has handed them over to its hub, recordings and all. */
export async function handRecordedPractices(options: RecordingCourtOptions): Promise<RecordingCourt> {
  const { name, dataFolder, hubAddress, key, seed, sessions, sessionS } = options;
  const folder = path.join(dataFolder, recordingsFolder);
  mkdirSync(folder, { recursive: true });
  const store = await ClubStore.open({ file: path.join(dataFolder, databaseFile), nowS: () => systemClock.nowS() });
  const sessionIds: string[] = [];
  let shotCount = 0;
  for (let index = 0; index < sessions; index++) {
    const recording = `${name}-${index}.mcap`;
    const file = path.join(folder, recording);
    // Shots at the usual pace, each with what lies between.
    await recordPractice(file, `${seed} ${index}`, sessionS, Math.ceil(sessionS / 12));
    const found = await analyseRecording({ file, settings: defaultBallSettings });
    const { shots, firstS, lastS, sensors } = found;
    shotCount += shots.length;
    sessionIds.push(
      await store.importSession(coach, {
        ...{ name: `${name} ${index}`, startedS: firstS ?? 0, endedS: lastS ?? 0, timeZone: 'UTC', simulated: false },
        ...{ recording, settings: defaultBallSettings, analysisVersion, parameters: defaultBallSettings, marks: [] },
        sensors: Object.entries(sensors).map(([id, description]) => ({ id, description, placement: 'ball' })),
        shots: shots.map((shot) => ({ ...shot, playerId: null })),
      }),
    );
  }
  const uploader = new CourtUploader({
    ...{ store, hub: { address: hubAddress, key }, recordingsFolder: folder, logger: silentLogger, idleMs: 100 },
    ...{ retryMs: 200, erase: async () => true },
  });
  for (;;) {
    const { waiting } = await uploader.state();
    const marks = await Promise.all(sessionIds.map((id) => store.hub.remembered(`recording ${id}`)));
    if (waiting === 0 && marks.every((mark) => mark !== null)) break;
    await pause(100);
  }
  await uploader.close();
  await store.close();
  return { name, dataFolder, sessionIds, shotCount };
}
