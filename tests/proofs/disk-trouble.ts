import { createHash } from 'node:crypto';
import { copyFileSync, cpSync, mkdtempSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { systemClock } from '../../src/devices/system-clock.ts';
import { silentLogger } from '../../src/foundation/logger.ts';
import { PracticeKeeper, recordingsFolder } from '../../src/server/practice/practice-keeper.ts';
import { startService } from '../../src/server/service.ts';
import { defaultBallSettings } from '../../src/shots/shot.ts';
import { Random } from '../../src/simulate/random.ts';
import { type DamageTrial, tryFlipped, tryTruncated } from '../helpers/damaged-recordings.ts';
import { lookAfter, recordingNames, runAndKill, type ServiceRun } from '../helpers/kill-service.ts';
import { SmallDisk } from '../tools/small-disk.ts';
import { type Goal, goal, type ProofContext, type ProofFigures } from './proof.ts';

const diskMegabytes = 24;
const fullRuns = 6;
const damages = 150;

/**
 * Four sensors stream and a client tags shots while the disk is full for some seconds, and is killed while it is full; the
 * service is started where nothing can be written; recordings are cut off and get a flipped bit. What was told as stored is
 * there, nothing that was there is lost, and it is told.
 */
export async function prove({ seed, scale, say }: ProofContext): Promise<ProofFigures> {
  const folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-disk-'));
  const disk = SmallDisk.mount(path.join(folder, 'small'), diskMegabytes);
  const goals: Goal[] = [];
  const figures: Record<string, unknown> = {};
  let recording: string;
  try {
    if (disk instanceof SmallDisk) {
      const full: Awaited<ReturnType<typeof runFull>>[] = [];
      for (let index = 0; index < Math.ceil(fullRuns * scale); index++) {
        const staysFull = index % 2 === 1;
        const ran = await runFull(disk, String(seed(`full ${index}`)), staysFull);
        say(
          `full disk ${index + 1}${staysFull ? ', killed while full' : ''}: ${ran.told} shots told as stored, ${ran.lost} lost, ${ran.unstored} told as waiting, ${ran.missingS.toFixed(3)} s missing`,
        );
        full.push(ran);
      }
      const sum = (key: 'told' | 'lost' | 'tagged' | 'lostTags' | 'lostSynced' | 'unstored' | 'stillUnstored') =>
        full.reduce((total, ran) => total + ran[key], 0);
      goals.push(
        goal('full disk: told shots that are lost', sum('lost'), { atMost: 0 }),
        goal('full disk: shots told as stored', sum('told'), { atLeast: scale < 1 ? 0 : full.length }),
        goal('full disk: confirmed tags that are lost', sum('lostTags'), { atMost: 0 }),
        goal('full disk: shots told as waiting that were not stored once there was room', sum('stillUnstored'), {
          atMost: 0,
        }),
        goal('full disk: notifications lost that a sync had seen to the disk', sum('lostSynced'), { atMost: 0 }),
        // A part runs on machines that do much else, and how long ago the last sync was says something of them alone.
        ...(scale < 1
          ? []
          : [
              goal(
                'full disk that had room again: most raw data missing, s',
                worst(full.filter(({ staysFull }) => !staysFull)),
                { atMost: 0.5 },
              ),
              goal(
                'full disk: raw data from before missing, s',
                Math.max(...full.map(({ missingBeforeS }) => missingBeforeS)),
                { atMost: 0.5 },
              ),
            ]),
        goal('full disk: runs in which a page was told', full.filter(({ wasTold }) => wasTold).length / full.length, {
          atLeast: 1,
        }),
      );
      Object.assign(figures, { fullRuns: full.length, told: sum('told'), toldAsWaiting: sum('unstored') });
      const other = SmallDisk.mount(path.join(folder, 'read-only'), diskMegabytes);
      if (!(other instanceof SmallDisk)) throw new Error(`the second small disk could not be made: ${other.missing}`);
      const readOnly = await startReadOnly(path.join(disk.folder, 'data'), other).finally(() => other.unmount());
      say(`read-only: ${readOnly.message}`);
      goals.push(
        goal('read-only: files changed', readOnly.changedFiles, { atMost: 0 }),
        goal('read-only: a clear error (1), and a start afterwards (1)', readOnly.clear + readOnly.startsAgain, {
          atLeast: 2,
        }),
      );
    } else {
      say(`full disk and read-only mount skipped: ${disk.missing}`);
      figures.skipped = disk.missing;
      goals.push(goal('a small disk to fill', 0, { atLeast: 1 }));
    }
    // A recording as a killed service leaves it.
    const dataFolder = path.join(folder, 'data');
    await runAndKill({ dataFolder, seed: String(seed('recording')), sensorCount: 2, afterMs: 8000 });
    recording = path.join(folder, 'killed.mcap');
    copyFileSync(path.join(dataFolder, recordingsFolder, recordingNames(dataFolder)[0] ?? ''), recording);
    const random = new Random(seed('damage'));
    const scratch = path.join(folder, 'damaged.mcap');
    for (const [kind, trial] of [
      ['cut off', tryTruncated],
      ['one bit flipped', tryFlipped],
    ] as const) {
      const trials: DamageTrial[] = [];
      for (let index = 0; index < Math.ceil(damages * scale); index++)
        trials.push(await trial(recording, scratch, random));
      const most = (key: keyof DamageTrial) => Math.max(...trials.map((each) => each[key]));
      say(`${kind}: ${trials.length} times, at most ${most('mostLostS').toFixed(3)} s lost`);
      goals.push(
        // A part runs on machines that do much else, where a chunk may be full before its turn: it then holds 0.75 s of two sensors.
        goal(`recording ${kind}: most raw data lost, s`, most('mostLostS'), { atMost: scale < 1 ? 0.8 : 0.5 }),
        goal(`recording ${kind}: notifications lost elsewhere`, most('lostElsewhere'), { atMost: 0 }),
        goal(`recording ${kind}: notifications that never were`, most('invented'), { atMost: 0 }),
      );
    }
    return { ...figures, damages: Math.ceil(damages * scale), goals };
  } finally {
    if (disk instanceof SmallDisk) disk.unmount();
    rmSync(folder, { recursive: true, force: true });
  }
}

async function runFull(disk: SmallDisk, seed: string, staysFull: boolean) {
  const dataFolder = path.join(disk.folder, 'data');
  rmSync(dataFolder, { recursive: true, force: true });
  let wasTold = false;
  let fullNs = 0n;
  const run: ServiceRun = await runAndKill({
    dataFolder,
    seed,
    sensorCount: 4,
    afterMs: 7000,
    course: async (url) => {
      const isDegraded = async () =>
        ((await (await fetch(new URL('/api/health', url))).json()) as { status: string }).status === 'degraded';
      await pause(7000);
      fullNs = process.hrtime.bigint();
      disk.fill();
      for (let time = 0; time < 300 && !wasTold; time++) {
        wasTold = await isDegraded();
        await pause(200);
      }
      await pause(4000);
      if (staysFull) return;
      disk.free();
      // What waits is stored once there is room.
      for (let time = 0; time < 300 && (await isDegraded()); time++) await pause(200);
      await pause(2000);
    },
  });
  disk.free();
  const left = await lookAfter(dataFolder, run);
  const before = await lookAfter(dataFolder, run, fullNs);
  const keeper = await PracticeKeeper.open({
    ...{ dataFolder, clock: systemClock, logger: silentLogger, simulated: false, settings: defaultBallSettings },
  });
  const found = new Set(keeper.found.map(({ shotId }) => shotId));
  await keeper.close();
  const stillUnstored = staysFull ? 0 : [...run.unstored].filter((shotId) => !found.has(shotId)).length;
  return {
    ...left,
    staysFull,
    wasTold,
    unstored: run.unstored.size,
    stillUnstored,
    missingBeforeS: before.missingS,
  };
}

function worst(runs: readonly { readonly missingS: number }[]): number {
  return runs.length === 0 ? 0 : Math.max(...runs.map(({ missingS }) => missingS));
}

/** Starts the service on a copy of what a run left, where nothing can be written. */
async function startReadOnly(left: string, disk: SmallDisk) {
  const dataFolder = path.join(disk.folder, 'data');
  cpSync(left, dataFolder, { recursive: true });
  const before = hashes(dataFolder);
  disk.makeReadOnly();
  const options = {
    version: 'test',
    port: 0,
    dataFolder,
    pageFolder: '',
    settings: defaultBallSettings,
    threadCount: 1,
  };
  let message = 'started';
  let clear = 0;
  try {
    const service = await startService(options);
    await service.close();
  } catch (error) {
    message = error instanceof Error ? error.message : String(error);
    clear = 'code' in (error as object) && /cannot be written|nothing can be written/.test(message) ? 1 : 0;
  } finally {
    disk.makeWritable();
  }
  const after = hashes(dataFolder);
  const changedFiles = [...before].filter(([name, hash]) => after.get(name) !== hash).length;
  const service = await startService(options);
  await service.close();
  return { message, clear, changedFiles, startsAgain: 1 };
}

function hashes(folder: string): Map<string, string> {
  const files = readdirSync(folder, { recursive: true, withFileTypes: true }).filter((entry) => entry.isFile());
  return new Map(
    files.map((entry) => {
      const file = path.join(entry.parentPath, entry.name);
      return [path.relative(folder, file), createHash('sha256').update(readFileSync(file)).digest('hex')];
    }),
  );
}
