import { rm } from 'node:fs/promises';
import path from 'node:path';
import type { Piscina } from 'piscina';
import { SeamwiseError } from '../../../foundation/errors.ts';
import type { SensorSetup } from '../../../live/sensor-setup.ts';
import type { ClubStore } from '../../../sessions/database/club-store.ts';
import type { StoredShot } from '../../../sessions/database/shot-records.ts';
import type { ClaimedJob } from '../../../sessions/hub/job-records.ts';
import { ShotsChangedError } from '../../../sessions/hub/store-job-results.ts';
import { analysisVersion, type BallSettings, defaultBallSettings } from '../../../shots/shot.ts';
import { resultParameters } from '../../analysis/sensor-setups.ts';
import type { AnalysedRecording, RecordingTask } from '../../reanalysis/analyse-recording.ts';
import { matchStoredShots } from '../../reanalysis/match-stored-shots.ts';
import { setupsOf, shareChannel } from '../../reanalysis/reanalyse-sessions.ts';
import { fetchRecording } from './fetch-recording.ts';

export interface ReanalysisWork {
  readonly store: ClubStore;
  readonly job: ClaimedJob;
  /** Where the recording may lie while it is gone through. */
  readonly folder: string;
  readonly pool: Piscina<RecordingTask, AnalysedRecording>;
  readonly setupOf: (sensorId: string) => Promise<SensorSetup>;
  readonly signal: AbortSignal;
  readonly tell: (share: number) => void;
}

/** Shots may come and go while theirs are matched; not so often. */
const mostMatchings = 5;

/**
 * Goes through a recording that a court handed over, with this version of the analysis, and stores what came of it.
 *
 * @returns numbers of what came of it. @throws what the recording, the analysis and `storeJobResults` give.
 */
export async function reanalyseHanded(work: ReanalysisWork): Promise<Readonly<Record<string, number>>> {
  const { store, job, folder, pool, setupOf, signal, tell } = work;
  const session = await store.sessions.get(job.subject);
  const file = path.join(folder, `${job.jobId}.mcap`);
  try {
    const checksum = await fetchRecording(store, session.id, file);
    const settings: BallSettings = { ...defaultBallSettings, ...JSON.parse(session.settings) };
    const setups = await setupsOf(store, setupOf);
    requireSetups(await store.shots.all({ sessionId: session.id }), setups);
    const share = shareChannel(tell);
    const task = { file, settings, setups, share: share.port };
    const found = await pool.run(task, { transferList: [share.port], signal }).finally(() => share.close());
    if (found.notificationCount === 0) {
      const why = [...found.damage, ...found.faults].slice(0, 3).join('; ');
      throw new SeamwiseError(
        'recording-no-notification',
        `the recording holds nothing that a sensor sent, or nothing of it can be read${why === '' ? '' : `: ${why}`}`,
      );
    }
    for (let tries = 1; ; tries++) {
      const before = await store.shots.all({ sessionId: session.id });
      const matched = matchStoredShots(before, found.shots);
      const { again, added } = matched;
      const changed = again.filter(({ old, now }) => JSON.stringify(old.result.shot) !== JSON.stringify(now.shot));
      const counts = {
        ...{ again: again.length, changed: changed.length, added: added.length },
        // On a hub the records of two sensors stay apart where their court has them apart.
        notFound: matched.notFound.length + matched.absorbed.length,
      };
      const used = Object.entries(setups).filter(([id]) => id in found.sensors);
      try {
        await store.storeJobResults({
          ...{ job, sessionId: session.id, checksum, analysisVersion, counts },
          parameters: resultParameters(settings, used),
          knownShotIds: before.map(({ id }) => id),
          again: again.map(({ old, now }) => ({ shotId: old.id, shot: now.shot })),
          added: added.map((now) => ({ ...now, playerId: null })),
        });
        return counts;
      } catch (error) {
        if (!(error instanceof ShotsChangedError) || tries >= mostMatchings) throw error;
      }
    }
  } finally {
    await rm(file, { force: true });
  }
}

/** A result made without the calibration that the court had would look like a change of the shooter. */
function requireSetups(shots: readonly StoredShot[], setups: Readonly<Record<string, SensorSetup>>): void {
  for (const { result } of shots) {
    const { sensors = {} } = result.parameters as {
      readonly sensors?: Readonly<Record<string, { readonly calibratedAtS: number | null }>>;
    };
    for (const [id, { calibratedAtS }] of Object.entries(sensors)) {
      if (calibratedAtS === null || (setups[id]?.correction ?? null) !== null) continue;
      throw new SeamwiseError(
        'reanalysis-failed',
        `the court had a calibration of the sensor ${id}, and the hub has none: update the court and keep it connected, it hands its calibrations over; or copy sensor-calibrations.json from the court's data folder into that of the worker. Then try again`,
      );
    }
  }
}
