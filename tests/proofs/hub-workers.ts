import type { ChildProcess } from 'node:child_process';
import { once } from 'node:events';
import { mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { systemClock } from '../../src/devices/system-clock.ts';
import { askForReanalysis } from '../../src/server/hub/work/ask-for-work.ts';
import { ClubStore } from '../../src/sessions/database/club-store.ts';
import { forked, HubProcess } from '../helpers/forked-hub.ts';
import { hasPostgres, noPostgres, removeCluster, startCluster } from '../helpers/postgres-cluster.ts';
import { handRecordedPractices } from '../helpers/recording-court.ts';
import { coach } from '../sessions/database/opened-store.ts';
import { goal, type ProofContext, type ProofFigures } from './proof.ts';

const sessionsWhole = 8;
const sessionWholeS = 1200;
const workerCounts = [1, 2, 4] as const;

/**
 * Handed recordings are gone through again by one, two and four workers, each a process with one thread: twice as fast by two, until the
 * cores of the machine are used up, and with the same result each time.
 */
export async function prove({ seed, scale, say }: ProofContext): Promise<ProofFigures> {
  if (!hasPostgres) return { skipped: noPostgres };
  const folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-workers-'));
  const cluster = await startCluster();
  const children: ChildProcess[] = [];
  try {
    const address = cluster.address(await cluster.createDatabase('workers'));
    const store = await ClubStore.open({ address, nowS: () => systemClock.nowS() });
    const hub = await HubProcess.start(path.join(folder, 'hub'), address);
    children.push(hub.child);
    const sessions = Math.max(4, Math.round(sessionsWhole * scale));
    const sessionS = Math.max(60, sessionWholeS * scale);
    const { key } = await store.courts.make('North');
    const court = await handRecordedPractices({
      ...{ name: 'North', dataFolder: path.join(folder, 'court'), hubAddress: hub.url, key, sessions, sessionS },
      seed: `practice ${seed('practice')}`,
    });
    say(`${sessions} recordings of ${sessionS / 60} minutes with ${court.shotCount} shots are handed over`);
    const recordedHours = (sessions * sessionS) / 3600;
    const passes: { readonly tookS: number; readonly results: string; readonly failed: number }[] = [];
    for (const count of workerCounts) {
      const workers = Array.from({ length: count }, (_, index) =>
        forked(new URL('../helpers/work-process.ts', import.meta.url), [
          `${address}?connections=3`,
          `${count}.${index}`,
          '1',
        ]),
      );
      children.push(...workers);
      await Promise.all(workers.map((worker) => once(worker, 'message')));
      // Their code is compiled by a first piece of work, which is not measured.
      const warm = court.sessionIds.slice(0, count);
      for (const sessionId of warm) await askForReanalysis(store, coach, { again: true, sessionId });
      await untilDone(store);
      const startMs = performance.now();
      await askForReanalysis(store, coach, { again: true });
      await untilDone(store);
      const tookS = (performance.now() - startMs) / 1000;
      for (const worker of workers) worker.kill('SIGKILL');
      const { parked } = await store.jobs.counts();
      passes.push({ tookS, results: await resultsOf(store), failed: parked });
      say(`${count} workers: ${(recordedHours / tookS).toFixed(3)} recorded hours a second`);
    }
    const jobResults = await store.context.db.selectFrom('job_result').select('shot_id').execute();
    await store.close();
    const [one, two, four] = passes as [(typeof passes)[0], (typeof passes)[0], (typeof passes)[0]];
    const cores = os.availableParallelism();
    const speedOf = ({ tookS }: { tookS: number }) => recordedHours / tookS;
    return {
      ...{ cores, recordings: sessions, recordedHours, shots: court.shotCount },
      recordedHoursASecond: { one: speedOf(one), two: speedOf(two), four: speedOf(four) },
      speedOfTwoOverOne: one.tookS / two.tookS,
      speedOfFourOverTwo: two.tookS / four.tookS,
      goals: [
        // Neither says anything of a minute or two, nor where there is one core.
        goal('speed of two workers over one', one.tookS / two.tookS, { atLeast: scale < 1 || cores < 2 ? 0 : 1.6 }),
        goal('speed of four workers over two', two.tookS / four.tookS, {
          atLeast: scale < 1 ? 0 : cores < 4 ? 0.9 : 1.6,
        }),
        goal('pieces of work put aside', Math.max(one.failed, two.failed, four.failed), { atMost: 0 }),
        goal('passes with another result', new Set(passes.map(({ results }) => results)).size - 1, { atMost: 0 }),
        goal('shots without exactly one result of this version', Math.abs(jobResults.length - court.shotCount), {
          atMost: 0,
        }),
      ],
    };
  } finally {
    for (const child of children) child.kill('SIGKILL');
    await removeCluster(cluster);
    rmSync(folder, { recursive: true, force: true });
  }
}

async function untilDone(store: ClubStore): Promise<void> {
  for (;;) {
    const { waiting, running } = await store.jobs.counts();
    if (waiting + running === 0) return;
    await pause(20);
  }
}

/** Every current result, without when it was made. */
async function resultsOf(store: ClubStore): Promise<string> {
  const shots = await store.shots.all({});
  return JSON.stringify(shots.map(({ id, result }) => [id, result.shot]));
}
