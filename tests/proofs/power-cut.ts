import { mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { databaseFile } from '../../src/server/practice/practice-keeper.ts';
import { ClubStore } from '../../src/sessions/database/club-store.ts';
import { Random } from '../../src/simulate/random.ts';
import { type LeftBehind, lookAfter, runAndKill, type ServiceRun } from '../helpers/kill-service.ts';
import {
  buildWriteLog,
  type DiskRecord,
  PowerlessDisk,
  readWriteLog,
  writeLogEnvironment,
} from '../tools/write-log/powerless-disk.ts';
import { goal, type ProofContext, type ProofFigures } from './proof.ts';

/** Runs of the service, and cuts of each: half forget all that was not synced, half let some of it through. */
const runs = 6;
const cutsOfRun = 60;
const runMs = 20_000;
const leastRunMs = 12_000;

interface Cut extends LeftBehind {
  readonly isSound: boolean;
}

/**
 * A loss of power: everything that the service does to its files while four sensors stream and a client tags shots is written
 * down by a layer under it (`write-log.c`). At random instants the files are built as a disk would have left them that is sure
 * only of what was synced; in half of the cases some sectors of the rest got there too, as a real disk does it. The next start
 * has to find every shot that had been told as stored by then, every confirmed tag, and all but half a second of raw data.
 */
export async function prove({ seed, scale, say }: ProofContext): Promise<ProofFigures> {
  const folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-power-'));
  try {
    const built = buildWriteLog(folder);
    if ('missing' in built) {
      say(`skipped: ${built.missing}`);
      return { skipped: built.missing, goals: [goal('a layer under the files', 0, { atLeast: 1 })] };
    }
    const cuts: Cut[] = [];
    const synchronous = await synchronousSetting(path.join(folder, 'setting'));
    for (let index = 0; index < Math.ceil(runs * scale); index++) {
      const dataFolder = mkdtempSync(path.join(folder, 'run-'));
      const log = path.join(folder, `${index}.log`);
      const run = await runAndKill({
        dataFolder,
        seed: String(seed(`run ${index}`)),
        sensorCount: 4,
        afterMs: Math.max(leastRunMs, runMs * Math.min(1, scale * runs)),
        leastTags: 2,
        environment: writeLogEnvironment(built.library, log, dataFolder),
      });
      const ofRun = await cutOften({
        run,
        dataFolder,
        records: readWriteLog(log),
        count: Math.max(8, Math.round(cutsOfRun * Math.min(1, scale * runs))),
        random: new Random(seed(`cuts ${index}`)),
        scratch: path.join(folder, 'cut'),
      });
      cuts.push(...ofRun);
      const most = Math.max(...ofRun.map(({ missingS }) => missingS));
      say(`run ${index + 1}: ${run.shots.size} shots told, ${ofRun.length} cuts, at most ${most.toFixed(3)} s missing`);
      rmSync(dataFolder, { recursive: true });
    }
    const sum = (key: 'told' | 'lost' | 'tagged' | 'lostTags' | 'lostSynced' | 'openSessions') =>
      cuts.reduce((total, cut) => total + cut[key], 0);
    return {
      cuts: cuts.length,
      told: sum('told'),
      tagged: sum('tagged'),
      goals: [
        goal('PRAGMA synchronous of the open connection (2 is FULL)', synchronous, { atLeast: 2 }),
        goal('told shots that are lost', sum('lost'), { atMost: 0 }),
        goal('confirmed tags that are lost', sum('lostTags'), { atMost: 0 }),
        goal('notifications lost that a sync had seen to the disk', sum('lostSynced'), { atMost: 0 }),
        goal('syncs of the recording before the last cut', Math.max(...cuts.map(({ syncs }) => syncs)), { atLeast: 3 }),
        // A part runs on machines that do much else, and how long ago the last sync was says something of them alone.
        ...(scale < 1
          ? []
          : [
              goal('most raw data missing of one sensor, s', Math.max(...cuts.map(({ missingS }) => missingS)), {
                atMost: 0.5,
              }),
            ]),
        goal('sessions left open', sum('openSessions'), { atMost: 0 }),
        goal('databases that are not sound', cuts.filter(({ isSound }) => !isSound).length, { atMost: 0 }),
        goal('shots told until a cut, altogether', sum('told'), { atLeast: scale < 1 ? 1 : cuts.length }),
      ],
    };
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

/** Read on a connection as the service opens it. */
async function synchronousSetting(folder: string): Promise<number> {
  const store = await ClubStore.open({ file: `${folder}.db`, nowS: () => 1 });
  const setting = Number(await store.pragma('synchronous'));
  await store.close();
  return setting;
}

async function cutOften(options: {
  readonly run: ServiceRun;
  readonly dataFolder: string;
  readonly records: readonly DiskRecord[];
  readonly count: number;
  readonly random: Random;
  readonly scratch: string;
}): Promise<Cut[]> {
  const { run, dataFolder, records, count, random, scratch } = options;
  // From the first told shot on there is something to lose.
  const firstNs = [...run.shots.values()][0]?.atNs ?? 0n;
  const first = Math.max(
    0,
    records.findIndex(({ atNs }) => atNs >= firstNs),
  );
  const places = Array.from({ length: count }, () => random.whole(first, records.length - 1));
  places.sort((one, other) => one - other);
  const disk = new PowerlessDisk(dataFolder);
  const cuts: Cut[] = [];
  let next = 0;
  for (const [index, place] of places.entries()) {
    for (; next < place; next++) disk.apply(records[next] as DiskRecord);
    const survives = index % 2 === 0 ? () => false : () => random.chance(0.5);
    disk.saveTo(scratch, survives);
    const untilNs = (records[place] as DiskRecord).atNs;
    const left = await lookAfter(scratch, run, untilNs);
    const store = await ClubStore.open({ file: path.join(scratch, databaseFile), nowS: () => 1 });
    cuts.push({ ...left, isSound: (await store.pragma('integrity_check')) === 'ok' });
    await store.close();
    rmSync(scratch, { recursive: true });
  }
  return cuts;
}
