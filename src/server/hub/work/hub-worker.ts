import { mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import { Piscina } from 'piscina';
import { SeamwiseError } from '../../../foundation/errors.ts';
import type { Logger } from '../../../foundation/logger.ts';
import type { SensorSetup } from '../../../live/sensor-setup.ts';
import type { ClubStore } from '../../../sessions/database/club-store.ts';
import { type ClaimedJob, LeaseLostError, leaseS } from '../../../sessions/hub/job-records.ts';
import type { AnalysedRecording, RecordingTask } from '../../reanalysis/analyse-recording.ts';
import { reanalysisThreadFile } from '../../reanalysis/reanalyse-sessions.ts';
import { exportHanded } from './export-work.ts';
import { reanalyseHanded } from './reanalysis-work.ts';

/** What became of a piece of work at this worker. */
export interface WorkedJob {
  readonly id: string;
  readonly kind: ClaimedJob['kind'];
  readonly subject: string;
  /** `again` where it failed and is tried once more, `lost` where it was stopped or another worker has it. */
  readonly state: 'done' | 'again' | 'parked' | 'lost';
  readonly reason: string | null;
  readonly counts: Readonly<Record<string, number>>;
}

export interface HubWorkerOptions {
  readonly store: ClubStore;
  /** How the worker is called, for people; by default by this machine and process. */
  readonly name?: string;
  /** Pieces of work at a time, each in a thread of its own. */
  readonly threadCount: number;
  /** Of the program. */
  readonly version: string;
  readonly logger: Logger;
  /** What is known of a sensor on this machine. */
  readonly setupOf: (sensorId: string) => Promise<SensorSetup>;
  /** Ends by itself when nothing is left to do, also nothing that is tried again later. */
  readonly untilDone?: boolean;
  readonly onEnded?: (job: WorkedJob) => void;
  /** A worker not heard of for so long is taken to be gone, s. */
  readonly leaseS?: number;
  /** Between two looks where nothing is to be done, ms. */
  readonly idleMs?: number;
  /** Work that comes no further for so long is broken off, and counts as failed, s. */
  readonly stallS?: number;
  readonly threadFile?: URL;
}

/**
 * Does what is asked of a hub: takes one piece after the other, says that it is at it, and stores what came of it together with its end.
 * Killed at any moment it leaves nothing half done: the piece goes to another worker when its lease is over.
 */
export class HubWorker {
  /** Resolves when it has ended. */
  readonly ended: Promise<void>;
  readonly #options: HubWorkerOptions;
  readonly #folder: string;
  readonly #pool: Piscina<RecordingTask, AnalysedRecording>;
  readonly #stop = new AbortController();
  readonly #name: string;

  constructor(options: HubWorkerOptions) {
    this.#options = options;
    this.#name = options.name ?? `${os.hostname()} ${process.pid}`;
    const base = path.join(os.tmpdir(), 'seamwise-work');
    mkdirSync(base, { recursive: true, mode: 0o700 });
    this.#folder = mkdtempSync(path.join(base, 'worker-'));
    this.#pool = new Piscina({
      filename: fileURLToPath(options.threadFile ?? reanalysisThreadFile),
      ...{ minThreads: 1, maxThreads: options.threadCount, maxQueue: 'auto' },
    });
    this.ended = this.#work();
  }

  /** Ends it: what it is at is given back, to be begun anew elsewhere. */
  async close(): Promise<void> {
    this.#stop.abort();
    await this.ended;
  }

  async #work(): Promise<void> {
    try {
      await this.#options.store.jobs.forgetOld().catch(() => {});
      await Promise.all(Array.from({ length: this.#options.threadCount }, () => this.#one()));
    } finally {
      await this.#pool.destroy();
      rmSync(this.#folder, { recursive: true, force: true });
    }
  }

  async #one(): Promise<void> {
    const { store, logger, untilDone = false, idleMs = 1000, leaseS: forS = leaseS } = this.#options;
    const { signal } = this.#stop;
    while (!signal.aborted) {
      try {
        const job = await store.jobs.claim(this.#name, forS);
        if (job !== null) {
          await this.#do(job);
          continue;
        }
        const { waiting, running } = await store.jobs.counts();
        if (untilDone && waiting + running === 0) return;
      } catch (error) {
        // The database is away: it is asked again, for ever.
        logger.warn({ why: inWords(error) }, 'no work can be had from the database now');
      }
      await pauseUnlessStopped(idleMs, signal);
    }
  }

  async #do(job: ClaimedJob): Promise<void> {
    const { store, logger, onEnded = () => {}, setupOf, version, leaseS: forS = leaseS, stallS = 900 } = this.#options;
    const { jobId: id, kind, subject } = job;
    const broken = new AbortController();
    const signal = AbortSignal.any([this.#stop.signal, broken.signal]);
    let share = 0;
    let movedMs = performance.now();
    const tell = (now: number): void => {
      if (now > share) movedMs = performance.now();
      share = Math.max(share, now);
    };
    const renewal = setInterval(
      () => {
        if (performance.now() - movedMs > stallS * 1000) {
          broken.abort(new SeamwiseError('reanalysis-failed', `it came no further for ${stallS} s and was broken off`));
        }
        store.jobs
          .renew(job, share, forS)
          .then((isOwn) => isOwn || broken.abort(new LeaseLostError()))
          .catch((error: unknown) =>
            logger.warn({ why: inWords(error) }, 'the lease of a piece of work was not renewed'),
          );
      },
      Math.max(50, (forS * 1000) / 20),
    );
    const end = (state: WorkedJob['state'], reason: string | null, counts: WorkedJob['counts'] = {}): void =>
      onEnded({ id, kind, subject, state, reason, counts });
    try {
      const tools = { store, job, folder: this.#folder, setupOf, signal, tell };
      const work =
        kind === 'export' ? exportHanded({ ...tools, version }) : reanalyseHanded({ ...tools, pool: this.#pool });
      // A step that never ends holds up nobody; what it might still store does not count without the lease.
      end('done', null, await Promise.race([work, whenAborted(signal)]));
    } catch (error) {
      if (this.#stop.signal.aborted) {
        await store.jobs.giveBack(job).catch(() => {});
        return;
      }
      const cause = broken.signal.aborted ? broken.signal.reason : error;
      if (cause instanceof LeaseLostError) return end('lost', cause.message);
      if (cause instanceof SeamwiseError && cause.code === 'database-unreachable') {
        // Nothing that the piece could help.
        await store.jobs.giveBack(job);
        return end('again', cause.message);
      }
      const reason = inWords(cause);
      const state = await store.jobs.fail(job, reason);
      logger.warn({ job: id, kind, subject, reason, state }, 'a piece of work failed');
      end(state === null ? 'lost' : state === 'parked' ? 'parked' : 'again', reason);
    } finally {
      clearInterval(renewal);
    }
  }
}

function inWords(error: unknown): string {
  return error instanceof Error ? error.message : String(error);
}

function whenAborted(signal: AbortSignal): Promise<never> {
  return new Promise((_, reject) => {
    if (signal.aborted) reject(signal.reason);
    signal.addEventListener('abort', () => reject(signal.reason), { once: true });
  });
}

function pauseUnlessStopped(ms: number, signal: AbortSignal): Promise<void> {
  return new Promise((resolve) => {
    if (signal.aborted) return resolve();
    const end = (): void => {
      clearTimeout(timer);
      signal.removeEventListener('abort', end);
      resolve();
    };
    const timer = setTimeout(end, ms);
    signal.addEventListener('abort', end);
  });
}
