import { randomInt } from 'node:crypto';
import { rm } from 'node:fs/promises';
import path from 'node:path';
import type { SensorSetup } from '../../../live/sensor-setup.ts';
import type { ClubStore } from '../../../sessions/database/club-store.ts';
import type { ShotFilter } from '../../../sessions/database/shot-records.ts';
import { exportClub } from '../../../sessions/exchange/export/export-club.ts';
import type { ClaimedJob } from '../../../sessions/hub/job-records.ts';
import { measureDefinitions } from '../../../shots/measure-definitions.ts';
import { shotMeasureNames } from '../../../shots/shot.ts';
import { recordedSamples } from '../../recorded-samples.ts';
import { zipFolder } from '../../research/zip-stream.ts';
import { fetchRecording } from './fetch-recording.ts';

/** What an export is to hold, as it stands with its job. */
export interface ExportJobWords {
  readonly filter: Omit<ShotFilter, 'after' | 'limit'>;
  readonly samples: boolean;
  readonly bids: boolean;
  readonly raw: boolean;
  readonly shift: 'none' | 'one' | 'per-player';
  readonly withUnnamed: boolean;
}

export interface ExportWork {
  readonly store: ClubStore;
  readonly job: ClaimedJob;
  /** Where it may be put together. */
  readonly folder: string;
  /** Of the program. */
  readonly version: string;
  readonly setupOf: (sensorId: string) => Promise<SensorSetup>;
  readonly signal: AbortSignal;
  readonly tell: (share: number) => void;
}

const uniformSteps = 2 ** 47;

/** Writes an export and keeps it as one ZIP archive in the database, to be fetched. @throws what exporting and `ExportFiles.keep` give. */
export async function exportHanded(work: ExportWork): Promise<Readonly<Record<string, number>>> {
  const { store, job, version, setupOf, signal, tell } = work;
  const { filter, samples, bids, raw, shift, withUnnamed } = job.words as ExportJobWords;
  const own = path.join(work.folder, job.jobId);
  const folder = path.join(own, 'seamwise-export');
  const recording = path.join(work.folder, `${job.jobId}.mcap`);
  const source = recordedSamples({
    setupOf,
    // One at a time: all of them may be more than this machine has room for.
    async recordingsFolder({ id }) {
      await fetchRecording(store, id, recording);
      return recording;
    },
  });
  try {
    let playerIds: readonly string[] = [];
    const report = await exportClub(store, {
      ...{ folder, filter, version, shift, withUnnamed, keyFile: null },
      measures: shotMeasureNames.map((name) => ({ name, ...measureDefinitions[name] })),
      uniform: () => randomInt(uniformSteps) / uniformSteps,
      recordings: samples || bids || raw ? { source, samples, bids, raw } : null,
      onPlayers: (ids) => {
        playerIds = ids;
      },
      onSession: (done, of) => {
        signal.throwIfAborted();
        tell(done / of);
      },
    });
    const { shotCount, sessionCount, playerCount, sampleCount, withheldCount, unnamedCount, troubles } = report;
    const counts = {
      ...{ shots: shotCount, sessions: sessionCount, players: playerCount, samples: sampleCount },
      ...{ withheld: withheldCount, unnamed: unnamedCount, withoutSamples: troubles.length },
    };
    await store.exportFiles.keep(job, zipFolder(folder), counts, playerIds);
    return counts;
  } finally {
    await rm(own, { recursive: true, force: true });
    await rm(recording, { force: true });
  }
}
