/** Thread that writes one export. */
import { randomInt } from 'node:crypto';
import path from 'node:path';
import { systemClock } from '../../devices/system-clock.ts';
import { ClubStore } from '../../sessions/database/club-store.ts';
import type { ShotFilter } from '../../sessions/database/shot-records.ts';
import { type ExportReport, exportClub } from '../../sessions/exchange/export/export-club.ts';
import { JsonSensorCalibrations } from '../../sessions/sensor-calibrations.ts';
import { JsonWristCalibrationStore } from '../../sessions/wrist-calibration/json-wrist-calibration-store.ts';
import { measureDefinitions } from '../../shots/measure-definitions.ts';
import { shotMeasureNames } from '../../shots/shot.ts';
import { sensorSetup } from '../analysis/sensor-setups.ts';
import { databaseFile, recordingsFolder } from '../practice/practice-keeper.ts';
import { recordedSamples } from '../recorded-samples.ts';
import { spinReferenceFile } from '../spin-references.ts';
import { answerJob } from './job-thread.ts';

export interface ExportTask {
  readonly dataFolder: string;
  readonly folder: string;
  readonly filter: Omit<ShotFilter, 'after' | 'limit'>;
  readonly version: string;
  readonly shift: 'none' | 'one' | 'per-player';
  readonly keyFile: string | null;
  readonly withUnnamed: boolean;
  readonly samples: boolean;
  readonly bids: boolean;
  readonly raw: boolean;
}

export interface ExportDone {
  readonly report: ExportReport;
  readonly warnings: readonly string[];
}

const uniformSteps = 2 ** 47;

await answerJob<ExportTask, ExportDone>(async (task, tell) => {
  const { dataFolder, folder, filter, version, shift, keyFile, withUnnamed, samples, bids, raw } = task;
  const store = await ClubStore.open({ file: path.join(dataFolder, databaseFile), nowS: () => systemClock.nowS() });
  const warnings = new Set<string>();
  try {
    const source = recordedSamples({
      recordingsFolder: path.join(dataFolder, recordingsFolder),
      setupOf: (sensorId) =>
        sensorSetup(sensorId, {
          calibrations: new JsonSensorCalibrations(dataFolder),
          references: new JsonWristCalibrationStore(path.join(dataFolder, spinReferenceFile)),
          players: store.players,
          onTrouble: (_, why) => warnings.add(`a sensor goes on without calibration or references: ${why}`),
        }),
    });
    const report = await exportClub(store, {
      ...{ folder, filter, version, shift, keyFile, withUnnamed },
      measures: shotMeasureNames.map((name) => ({ name, ...measureDefinitions[name] })),
      uniform: () => randomInt(uniformSteps) / uniformSteps,
      recordings: samples || bids || raw ? { source, samples, bids, raw } : null,
      onSession: (done, of) => tell(done / of),
    });
    return { report, warnings: [...warnings] };
  } finally {
    await store.close();
  }
});
