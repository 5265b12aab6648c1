import { createWriteStream } from 'node:fs';
import { rename, rm } from 'node:fs/promises';
import { availableParallelism } from 'node:os';
import path from 'node:path';
import { Readable } from 'node:stream';
import { pipeline } from 'node:stream/promises';
import { setTimeout as pause } from 'node:timers/promises';
import type { Command } from 'commander';
import { pino } from 'pino';
import { SeamwiseError } from '../../foundation/errors.ts';
import type { ExportJobWords } from '../../server/hub/work/export-work.ts';
import type { WorkedJob } from '../../server/hub/work/hub-worker.ts';
import { spinReferenceFile } from '../../server/spin-references.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { Job } from '../../sessions/hub/job-records.ts';
import { JsonSensorCalibrations } from '../../sessions/sensor-calibrations.ts';
import { JsonWristCalibrationStore } from '../../sessions/wrist-calibration/json-wrist-calibration-store.ts';
import { analysisVersion } from '../../shots/shot.ts';
import { commandLine, findOne } from '../club/open-club.ts';
import { findPlayer } from '../club/players-command.ts';
import { findSession } from '../club/session-text.ts';
import { wholeNumberWithin } from '../option-values.ts';
import { Progress } from '../progress.ts';
import type { Surroundings } from '../surroundings.ts';
import { layOutTable } from '../table/text-width.ts';
import { readVersion } from '../version.ts';
import { type DatabaseWords, onHub, withHub } from './with-hub.ts';

const watchMs = 1000;
const listed = 500;

/** Adds to `hub` work that takes its time, and the workers that do it. */
export function addWorkCommands(hub: Command, surroundings: Surroundings): void {
  const { stdout, stderr } = surroundings;

  onHub(hub.command('work'))
    .summary('do what is asked of the hub, on this machine')
    .description(
      'Starts a worker: it goes through recordings again and writes exports that were asked for, until Ctrl-C. Any number of machines may do ' +
        'so at once. What a worker is at when it ends is begun anew by another; what fails three times is put aside with its reason ("hub jobs").',
    )
    .option('--threads <count>', 'pieces of work at a time', wholeNumberWithin(1, 64), availableParallelism())
    .option('--until-done', 'end when nothing is left to do')
    .action(async (words: DatabaseWords & { readonly threads: number; readonly untilDone?: true }) => {
      const { dataFolder } = surroundings.readConfig();
      const logger = pino({ level: 'warn', base: null }, stderr);
      await withHub(surroundings, words, async (store) => {
        const { HubWorker } = await import('../../server/hub/work/hub-worker.ts');
        const { sensorSetup } = await import('../../server/analysis/sensor-setups.ts');
        const { bothCalibrations } = await import('../../server/hub/share-calibrations.ts');
        let parked = 0;
        const worker = new HubWorker({
          ...{ store, logger, threadCount: words.threads, version: readVersion() },
          untilDone: words.untilDone === true,
          setupOf: (sensorId) =>
            sensorSetup(sensorId, {
              // Those that courts handed over, and any that lie beside the program.
              calibrations: bothCalibrations(new JsonSensorCalibrations(dataFolder), store.calibrations),
              references: new JsonWristCalibrationStore(path.join(dataFolder, spinReferenceFile)),
              players: store.players,
              onTrouble: (_, why) => stderr.write(`warning: sensor ${sensorId}: ${why}\n`),
            }),
          onEnded(job) {
            if (job.state === 'parked') parked += 1;
            stdout.write(`${endedText(job)}\n`);
          },
        });
        stderr.write(`Worker with ${words.threads} threads, analysis ${analysisVersion}. Ctrl-C ends it.\n`);
        await Promise.race([worker.ended, surroundings.untilEndIsAsked()]);
        await worker.close();
        if (parked > 0) {
          throw new SeamwiseError('reanalysis-failed', `${parked} pieces of work were put aside: "hub jobs" says why`);
        }
      });
    });

  onHub(hub.command('reanalyze'))
    .summary('have recordings gone through again by the workers of the hub')
    .description('Asks for it; workers ("hub work") do it. The numbers of the courts stay beside the new ones.')
    .argument('[session]', 'id, or its beginning; all whose recording was handed over without one')
    .option('--again', 'those too that this version has gone through already')
    .action(async (word: string | undefined, words: DatabaseWords & { readonly again?: true }) => {
      await withHub(surroundings, words, async (store) => {
        const { askForReanalysis } = await import('../../server/hub/work/ask-for-work.ts');
        const wish =
          word === undefined
            ? { again: words.again === true }
            : { again: true, sessionId: (await findSession(store, word)).id };
        const ids = await askForReanalysis(store, commandLine, wish);
        stdout.write(`${ids.length} recordings are to be gone through with analysis ${analysisVersion}.\n`);
      });
    });

  onHub(hub.command('export'))
    .summary('have an export written by the workers of the hub')
    .description(
      'Asks for it and prints its id; "hub fetch" brings the archive when it is done. It can be fetched for seven days.',
    )
    .option('--player <player>', 'shots of this player alone')
    .option('--session <session>', 'shots of this session alone; "last" is the newest')
    .option('--samples', 'add the calibrated readings with attitude')
    .option('--bids', 'add a folder of the Brain Imaging Data Structure, Motion')
    .option('--raw', 'add what the sensors sent, as recordings of their own')
    .option('--unnamed', 'shots that nobody is named for too: only where you know that whoever shot them agreed')
    .action(async (words: ExportWords) => {
      await withHub(surroundings, words, async (store) => {
        const { player, session, samples = false, bids = false, raw = false, unnamed = false } = words;
        const filter: ExportJobWords['filter'] = {
          ...(player !== undefined && { playerId: (await findPlayer(store, player)).id }),
          ...(session !== undefined && { sessionId: (await findSession(store, session)).id }),
        };
        const asked: ExportJobWords = { filter, samples, bids, raw, shift: 'one', withUnnamed: unnamed };
        stdout.write(`${await store.jobs.ask(commandLine, { kind: 'export', subject: '', words: asked })}\n`);
      });
    });

  onHub(hub.command('fetch'))
    .summary('bring a finished export as a ZIP archive')
    .argument('<job>', 'id, or its beginning')
    .argument('<file>', 'where to put it')
    .action(async (word: string, file: string, words: DatabaseWords) => {
      await withHub(surroundings, words, async (store) => {
        const content = await store.exportFiles.read((await findJob(store, word)).id);
        const part = `${path.resolve(file)}.part`;
        try {
          await pipeline(Readable.from(content), createWriteStream(part, { flags: 'wx', mode: 0o600 }));
          await rename(part, path.resolve(file));
        } catch (error) {
          const why = error instanceof Error ? error.message : String(error);
          if (!/EEXIST/.test(why)) await rm(part, { force: true });
          throw new SeamwiseError('output-not-written', `${file} cannot be written: ${why}`);
        }
        stdout.write(`The export is in ${file}. It is pseudonymous, not anonymous: treat it as personal.\n`);
      });
    });

  onHub(hub.command('jobs'))
    .summary('what the workers of the hub have to do and how far they are')
    .option('--watch', 'go on until nothing is left to do')
    .option('--json', 'print it as JSON')
    .action(async (words: DatabaseWords & { readonly watch?: true; readonly json?: true }) => {
      await withHub(surroundings, words, async (store) => {
        if (words.watch) await watch(store, surroundings);
        const [jobs, counts] = [await store.jobs.list(listed), await store.jobs.counts()];
        if (words.json) stdout.write(`${JSON.stringify({ counts, jobs }, null, 2)}\n`);
        else stdout.write(jobsText(jobs, counts, surroundings));
      });
    });

  onHub(hub.command('stop-job'))
    .summary('stop a piece of work; nothing of it is kept')
    .argument('<job>', 'id, or its beginning')
    .action(async (word: string, words: DatabaseWords) => {
      await withHub(surroundings, words, async (store) => {
        const { id, state } = await store.jobs.stop((await findJob(store, word)).id);
        stdout.write(state === 'done' ? `${id} had been done already.\n` : `${id} is stopped.\n`);
      });
    });

  onHub(hub.command('try-again'))
    .summary('have a piece of work that was put aside tried again')
    .argument('[job]', 'id, or its beginning; all that were put aside without one')
    .action(async (word: string | undefined, words: DatabaseWords) => {
      await withHub(surroundings, words, async (store) => {
        const meant =
          word === undefined
            ? (await store.jobs.list(listed)).filter(({ state }) => state === 'parked')
            : [await findJob(store, word)];
        for (const { id } of meant) await store.jobs.tryAgain(id);
        stdout.write(`${meant.length} pieces of work are tried again.\n`);
      });
    });
}

interface ExportWords extends DatabaseWords {
  readonly player?: string;
  readonly session?: string;
  readonly samples?: true;
  readonly bids?: true;
  readonly raw?: true;
  readonly unnamed?: true;
}

async function findJob(store: ClubStore, word: string): Promise<Job> {
  return findOne('piece of work', await store.jobs.list(listed), word, ({ id }) => id);
}

/** Shows a bar over all that is open now and comes in meanwhile. */
async function watch(store: ClubStore, { stderr }: Surroundings): Promise<void> {
  const progress = new Progress(stderr);
  const before = await store.jobs.counts();
  try {
    for (;;) {
      const { waiting, running, done, parked, stopped } = await store.jobs.counts();
      const open = waiting + running;
      if (open === 0) return;
      const ended = done + parked + stopped - before.done - before.parked - before.stopped;
      const shares = (await store.jobs.list(64)).reduce(
        (sum, { state, share }) => sum + (state === 'running' ? share : 0),
        0,
      );
      progress.show((ended + shares) / (ended + open));
      await pause(watchMs);
    }
  } finally {
    progress.stop();
  }
}

function endedText({ id, kind, subject, state, reason, counts }: WorkedJob): string {
  const what = kind === 'reanalysis' ? `session ${subject}` : `export ${id}`;
  if (state === 'again') return `${what}: failed, tried again later: ${reason}`;
  if (state === 'parked') return `${what}: put aside: ${reason}`;
  if (state === 'lost') return `${what}: ${reason}`;
  return `${what}: ${countsText(counts)}`;
}

function countsText(counts: Readonly<Record<string, number>>): string {
  const { again, changed = 0, added = 0, notFound = 0, shots = 0, sessions = 0 } = counts;
  if (again === undefined) return `${shots} shots of ${sessions} sessions written`;
  return `${again} shots found again (${changed} with other numbers), ${added} new, ${notFound} not found again`;
}

function jobsText(
  jobs: readonly Job[],
  counts: Awaited<ReturnType<ClubStore['jobs']['counts']>>,
  { widthColumns }: Surroundings,
): string {
  const { waiting, running, done, parked, stopped } = counts;
  const sums = `${running} running, ${waiting} waiting, ${parked} put aside, ${done} done, ${stopped} stopped.\n`;
  if (jobs.length === 0) return `Nothing was asked of the hub. "hub reanalyze" and "hub export" do.\n`;
  const column = (title: string, cell: (job: Job) => string) => ({ title, cells: jobs.map(cell) });
  const table = layOutTable(
    column('state', ({ state, share }) => {
      if (state === 'running') return `running ${Math.round(100 * share)} %`;
      return state === 'parked' ? 'put aside' : state;
    }),
    [
      column('what', ({ kind, subject, id }) => (kind === 'reanalysis' ? `session ${subject}` : `export ${id}`)),
      column('tries', ({ tries }) => String(tries)),
      column('worker', ({ worker }) => worker ?? ''),
      column('', ({ reason, state, counts: numbers }) => (state === 'done' ? countsText(numbers) : (reason ?? ''))),
      column('id', ({ id }) => id),
    ],
    widthColumns,
  );
  return `${table.join('\n')}\n${sums}`;
}
