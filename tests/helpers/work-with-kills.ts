import type { ChildProcess } from 'node:child_process';
import { setTimeout as pause } from 'node:timers/promises';
import { askForReanalysis } from '../../src/server/hub/work/ask-for-work.ts';
import type { ClubStore } from '../../src/sessions/database/club-store.ts';
import { forked } from './forked-hub.ts';
import type { PostgresCluster } from './postgres-cluster.ts';

/** One more, and a piece that was hit each time would rightly be put aside. */
const mostKills = 2;
/** After this a piece of a killed worker is another's; a worker that is only slow renews it in time. */
const leaseS = '10';

/**
 * Has everything gone through again by two workers, of which one is killed in the midst of its work, as often as there is work left, while
 * PostgreSQL crashes once.
 */
export async function workWithKills(
  store: ClubStore,
  cluster: PostgresCluster,
  address: string,
  say: (line: string) => void,
) {
  await askForReanalysis(store, { role: 'host', name: 'proof' }, { again: false });
  const script = new URL('./work-process.ts', import.meta.url);
  const start = (index: number, ...held: 'held'[]) =>
    forked(script, [`${address}?connections=3`, `worker ${index}`, '1', leaseS, ...held]);
  // The first one is alone and stays at its first piece of work until it is killed, so that there is one to be taken over on a machine
  // however fast.
  const workers: ChildProcess[] = [start(0, 'held')];
  let kills = 0;
  let crashes = 0;
  try {
    for (;;) {
      const jobs = await store.jobs.list(100).catch(() => []);
      const midway = jobs.find(
        ({ state, share, worker }) =>
          state === 'running' && (kills === 0 || share > 0.1) && worker === `worker ${kills}`,
      );
      if (midway && kills < mostKills) {
        workers[kills]?.kill('SIGKILL');
        kills += 1;
        if (kills === 1) workers.push(start(1));
        workers.push(start(workers.length));
        say(`worker ${kills - 1} is killed at ${Math.round(100 * midway.share)} % of a recording`);
        if (crashes === 0) {
          crashes += 1;
          await cluster.stop('immediate');
          await cluster.start();
          say('PostgreSQL was ended as by a crash and started again');
        }
      }
      if (jobs.length > 0 && jobs.every(({ state }) => state !== 'running' && state !== 'waiting')) break;
      await pause(100);
    }
  } finally {
    for (const worker of workers) worker.kill('SIGKILL');
  }
  const jobs = await store.jobs.list(100);
  const done = jobs.filter(({ state }) => state === 'done');
  return {
    ...{ kills, done: done.length, left: jobs.length - done.length },
    begunAgain: done.filter(({ tries }) => tries > 1).length,
    again: done.reduce((sum, { counts }) => sum + (counts.again ?? 0), 0),
  };
}
