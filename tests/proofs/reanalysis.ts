import { fork } from 'node:child_process';
import { once } from 'node:events';
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { setFlagsFromString } from 'node:v8';
import { runInNewContext } from 'node:vm';
import { databaseFile, recordingsFolder } from '../../src/server/practice/practice-keeper.ts';
import { reanalyseSessions, type SessionReanalysis } from '../../src/server/reanalysis/reanalyse-sessions.ts';
import { ClubStore } from '../../src/sessions/database/club-store.ts';
import { Random } from '../../src/simulate/random.ts';
import { makeRecordedClub, recordPractice } from '../helpers/recorded-club.ts';
import { goal, type ProofContext, type ProofFigures } from './proof.ts';

const sessions = 100;
/** Different practices of an hour; each is used for several sessions. */
const practices = 5;
const practiceS = 3600;
const actsOfPractice = 45;
/** Sessions that one worker alone goes through, to compare. */
const aloneSessions = 20;
const kills = 4;
const killedSessionsWhole = 10;
const killedSessionsPart = 5;
/** Looks at a heap before this many hours are left out of its slope: code is still being compiled. */
const settledHours = 3;

setFlagsFromString('--expose-gc');
const collect = runInNewContext('gc') as () => void;

/**
 * A hundred sessions of an hour are gone through again by two workers, twice as fast as by one, with a heap that does not grow;
 * killed in between it goes on with what is left, and what comes out is the same.
 */
export async function prove({ seed, scale, say }: ProofContext): Promise<ProofFigures> {
  const folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-again-'));
  try {
    const recordings: string[] = [];
    let recordedS = 0;
    const lengthS = Math.max(120, practiceS * Math.min(1, 5 * scale));
    for (let index = 0; index < practices; index++) {
      const name = `practice ${seed(`practice ${index}`)}`;
      const file = path.join(folder, `${name}.mcap`);
      recordedS += await recordPractice(file, name, lengthS, Math.ceil((actsOfPractice * lengthS) / practiceS));
      recordings.push(file);
    }
    const hoursEach = recordedS / practices / 3600;
    say(`${practices} practices of ${(60 * hoursEach).toFixed(1)} minutes recorded`);

    const aloneCount = Math.max(4, Math.round(aloneSessions * scale));
    const allCount = Math.max(8, Math.round(sessions * scale));
    const alone = await goThrough(folder, 'alone', recordings, aloneCount, 1);
    say(`one worker: ${aloneCount} sessions in ${alone.tookS.toFixed(1)} s, ${alone.shots} shots`);
    const both = await goThrough(folder, 'both', recordings, allCount, 2);
    say(`two workers: ${allCount} sessions in ${both.tookS.toFixed(1)} s, ${both.shots} shots`);
    const speedUp = alone.tookS / aloneCount / (both.tookS / allCount);

    const random = new Random(seed('kills'));
    const killedSessions = scale < 1 ? killedSessionsPart : killedSessionsWhole;
    const whole = await goThrough(folder, 'whole', recordings, killedSessions, 2);
    let redone = 0;
    let differing = 0;
    let undone = 0;
    for (let kill = 0; kill < Math.max(1, Math.round(kills * scale)); kill++) {
      const killed = await killAndGoOn({ folder, kill, recordings, random, killedSessions });
      redone += killed.redone;
      undone += killed.undone;
      if (killed.results !== whole.results) differing += 1;
      say(`killed after ${killed.before} sessions: ${killed.redone} gone through twice, ${killed.undone} left`);
    }
    return {
      sessions: allCount,
      recordedHours: allCount * hoursEach,
      scaled: `${practices} different practices of an hour, each used for ${sessions / practices} sessions`,
      shots: both.shots,
      oneWorkerHoursPerS: (aloneCount * hoursEach) / alone.tookS,
      twoWorkersHoursPerS: (allCount * hoursEach) / both.tookS,
      goals: [
        // Neither speed nor slope says anything of a few minutes.
        goal('speed of two workers over one', speedUp, { atLeast: scale < 1 ? 0 : 1.8 }),
        goal('heap slope of a worker, MB per recorded hour', both.workerSlopeMb, { atMost: scale < 1 ? 1000 : 1 }),
        goal('heap slope of the main thread, MB per recorded hour', both.mainSlopeMb, { atMost: scale < 1 ? 1000 : 1 }),
        goal('sessions that failed', both.failed + alone.failed, { atMost: 0 }),
        goal('shots found in a session, mean', both.shots / allCount, { atLeast: 1 }),
        goal('after a kill: finished sessions that were gone through again', redone, { atMost: 0 }),
        goal('after a kill: sessions left undone', undone, { atMost: 0 }),
        goal('after a kill: results other than without one', differing, { atMost: 0 }),
      ],
    };
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

async function goThrough(
  folder: string,
  name: string,
  recordings: readonly string[],
  count: number,
  threadCount: number,
) {
  const dataFolder = path.join(folder, name);
  await makeRecordedClub(dataFolder, recordings, count);
  const store = await ClubStore.open({ file: path.join(dataFolder, databaseFile), nowS: () => 1_764_000_000 });
  const heapLog = path.join(folder, `${name}.heap`);
  process.env.HEAP_LOG = heapLog;
  const mainLooks: HeapLook[] = [];
  const hoursEach = new Map<string, number>();
  const startMs = performance.now();
  const results = await reanalyseSessions({
    store,
    sessions: await store.sessions.withRecordings(),
    recordingsFolder: path.join(dataFolder, recordingsFolder),
    again: false,
    threadCount,
    threadFile: new URL('../helpers/measured-reanalysis-thread.mjs', import.meta.url),
    onSession: ({ sessionId }) => {
      hoursEach.set(sessionId, 1);
      collect();
      mainLooks.push({ hours: hoursEach.size, heapBytes: process.memoryUsage().heapUsed });
    },
  });
  const tookS = (performance.now() - startMs) / 1000;
  const stored = await storedResults(store);
  await store.close();
  const workers = new Map<number, HeapLook[]>();
  for (const line of readFileSync(heapLog, 'utf8').trim().split('\n')) {
    const { threadId, ...look } = JSON.parse(line) as HeapLook & { threadId: number };
    workers.set(threadId, [...(workers.get(threadId) ?? []), look]);
  }
  return {
    tookS,
    shots: results.reduce((sum, { added }) => sum + added, 0),
    failed: results.filter(({ state }) => state !== 'done').length,
    workerSlopeMb: Math.max(...[...workers.values()].map(slopeMb)),
    mainSlopeMb: slopeMb(mainLooks),
    results: stored,
  };
}

/** Every shot of every session as it is stored, without ids and times of storing. */
async function storedResults(store: ClubStore): Promise<string> {
  const all = [];
  for (const { id, recording } of await store.sessions.withRecordings()) {
    const shots = await store.shots.all({ sessionId: id });
    all.push([recording, shots.map(({ at_s, sensor_id, result }) => [at_s, sensor_id, result.shot])]);
  }
  return JSON.stringify(all);
}

async function killAndGoOn(options: {
  readonly folder: string;
  readonly kill: number;
  readonly recordings: readonly string[];
  readonly random: Random;
  readonly killedSessions: number;
}) {
  const { folder, kill, recordings, random, killedSessions } = options;
  const dataFolder = path.join(folder, `killed-${kill}`);
  await makeRecordedClub(dataFolder, recordings, killedSessions);
  const first: SessionReanalysis[] = [];
  const killAfter = random.whole(1, killedSessions - 3);
  const child = runInChild(dataFolder, (result, stop) => {
    first.push(result);
    // Somewhere in the midst of the next ones.
    if (first.length === killAfter) setTimeout(stop, random.between(0, 1500));
  });
  await child;
  const second: SessionReanalysis[] = [];
  await runInChild(dataFolder, (result) => second.push(result));
  const finished = new Set(first.filter(({ state }) => state === 'done').map(({ sessionId }) => sessionId));
  const redone = second.filter(({ sessionId, state }) => finished.has(sessionId) && state !== 'done-before').length;
  const store = await ClubStore.open({ file: path.join(dataFolder, databaseFile), nowS: () => 1_764_000_000 });
  const left = (await store.sessions.withRecordings()).filter(({ analysed_version }) => analysed_version === null);
  const results = await storedResults(store);
  await store.close();
  return { before: finished.size, redone, undone: left.length, results };
}

async function runInChild(dataFolder: string, onSession: (result: SessionReanalysis, stop: () => void) => void) {
  const script = new URL('../helpers/reanalysis-run.ts', import.meta.url);
  const child = fork(script, [dataFolder, '2'], { execArgv: ['--import', 'tsx'] });
  child.on('message', (result) => onSession(result as SessionReanalysis, () => child.kill('SIGKILL')));
  await once(child, 'exit');
}

interface HeapLook {
  readonly hours: number;
  readonly heapBytes: number;
}

/** Least-squares slope, MB per hour. */
function slopeMb(looks: readonly HeapLook[]): number {
  const settled = looks.filter(({ hours }) => hours >= Math.min(settledHours, (looks.at(-1)?.hours ?? 0) / 3));
  const mean = (of: (look: HeapLook) => number) => settled.reduce((sum, look) => sum + of(look), 0) / settled.length;
  const hour = mean(({ hours }) => hours);
  const bytes = mean(({ heapBytes }) => heapBytes);
  let across = 0;
  let along = 0;
  for (const { hours, heapBytes } of settled) {
    across += (hours - hour) * (heapBytes - bytes);
    along += (hours - hour) ** 2;
  }
  return along === 0 ? 0 : across / along / 1e6;
}
