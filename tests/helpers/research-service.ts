import { mkdirSync } from 'node:fs';
import path from 'node:path';
import type { FastifyInstance } from 'fastify';
import { systemClock } from '../../src/devices/system-clock.ts';
import { silentLogger } from '../../src/foundation/logger.ts';
import { noSetup } from '../../src/live/sensor-setup.ts';
import { buildServer } from '../../src/server/build-server.ts';
import { LiveHub } from '../../src/server/live-hub.ts';
import { PracticeKeeper, recordingsFolder } from '../../src/server/practice/practice-keeper.ts';
import { analyseRecording } from '../../src/server/reanalysis/analyse-recording.ts';
import { ResearchDesk } from '../../src/server/research/research-desk.ts';
import type { UploadLimits } from '../../src/server/research/uploads.ts';
import { ShotLog } from '../../src/server/shot-log.ts';
import type { ClubStore } from '../../src/sessions/database/club-store.ts';
import { RecordingWriter } from '../../src/sessions/recording/recording-writer.ts';
import { analysisVersion, defaultBallSettings } from '../../src/shots/shot.ts';
import { encodePractice } from '../../src/simulate/encoded-practice.ts';
import { scenarioPractice } from '../../src/simulate/scenarios.ts';
import { coach } from '../sessions/database/opened-store.ts';

/** A service with what researchers need, its data in a folder, without sensors. */
export interface ResearchService {
  readonly server: FastifyInstance;
  readonly keeper: PracticeKeeper;
  readonly store: ClubStore;
  readonly desk: ResearchDesk;
  readonly dataFolder: string;
  close(): Promise<void>;
}

export async function openResearchService(
  dataFolder: string,
  options: { readonly pageFolder?: string; readonly limits?: UploadLimits } = {},
): Promise<ResearchService> {
  const practice = {
    dataFolder,
    clock: systemClock,
    logger: silentLogger,
    simulated: false,
    settings: defaultBallSettings,
  };
  const keeper = await PracticeKeeper.open(practice);
  const desk = new ResearchDesk({
    ...{
      dataFolder,
      version: '1.2.3',
      nowS: () => systemClock.nowS(),
      logger: silentLogger,
      ...(options.limits && { limits: options.limits }),
    },
    setupOf: async () => noSetup,
    importThread: new URL('../../src/cli/club/import-thread.ts', import.meta.url),
  });
  const hub = new LiveHub({
    ...{
      log: new ShotLog(),
      clock: systemClock,
      version: '1.2.3',
      runId: 'run1',
      simulated: false,
      latestShotCount: 50,
    },
  });
  const server = await buildServer({
    ...{ hub, pageFolder: options.pageFolder ?? '/nowhere', port: 8650, logger: silentLogger },
    practice: { keeper: async () => keeper, nowS: () => systemClock.nowS(), logger: silentLogger },
    research: () => desk,
  });
  return {
    ...{ server, keeper, store: keeper.store, desk, dataFolder },
    async close() {
      await server.close();
      await desk.close();
      await keeper.close();
    },
  };
}

/** Writes what a simulated sensor sends into a recording. @returns how often packets were left out on purpose. */
export async function recordScenario(file: string, scenario: string, lost: (index: number) => boolean = () => false) {
  mkdirSync(path.dirname(file), { recursive: true });
  const { description, sensor, chunks } = encodePractice(scenarioPractice(scenario, 3));
  const writer = await RecordingWriter.create(file);
  let index = 0;
  for (const { notifications } of chunks) {
    for (const notification of notifications) {
      if (index === 0) await writer.describe(sensor.sensorId, description, notification.hostTimeS);
      if (!lost(index++)) await writer.add(notification);
    }
  }
  await writer.close();
  return { sensorId: sensor.sensorId, notifications: index };
}

/** A session that is over with its recording and its shots, as if it had been played. @returns its id and its shots'. */
export async function addRecordedSession(
  { store, dataFolder }: Pick<ResearchService, 'store' | 'dataFolder'>,
  name: string,
  scenario: string,
  lost?: (index: number) => boolean,
): Promise<{ sessionId: string; shotIds: string[]; sensorId: string; file: string }> {
  const file = path.join(dataFolder, recordingsFolder, `${name}.mcap`);
  const { sensorId } = await recordScenario(file, scenario, lost);
  const { shots, firstS, lastS, sensors } = await analyseRecording({ file, settings: defaultBallSettings });
  const sessionId = await store.importSession(coach, {
    ...{
      name,
      startedS: firstS ?? 0,
      endedS: lastS ?? 0,
      timeZone: 'UTC',
      simulated: false,
      recording: `${name}.mcap`,
    },
    ...{ settings: defaultBallSettings, analysisVersion, parameters: defaultBallSettings, marks: [] },
    sensors: Object.entries(sensors).map(([id, description]) => ({ id, description, placement: 'ball' })),
    shots: shots.map((shot) => ({ ...shot, playerId: null })),
  });
  const shotIds = (await store.shots.list({ sessionId })).map(({ id }) => id);
  return { sessionId, shotIds, sensorId, file };
}
