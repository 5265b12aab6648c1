import { existsSync, readdirSync, rmSync } from 'node:fs';
import path from 'node:path';
import { SeamwiseError } from '../../foundation/errors.ts';
import type { Logger } from '../../foundation/logger.ts';
import type { SensorSetup } from '../../live/sensor-setup.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { Session } from '../../sessions/database/session-records.ts';
import type { Actor } from '../../sessions/database/store-context.ts';
import { recordingsFolder } from '../practice/practice-keeper.ts';
import { reanalyseSessions, setupsOf } from '../reanalysis/reanalyse-sessions.ts';
import type { WireJob } from '../wire/research-document.ts';
import type { ExportDone, ExportTask } from './export-thread.ts';
import type { ImportDone, ImportTask } from './import-task.ts';
import { CancelledError, runJobThread } from './job-thread.ts';
import { ResearchJobs } from './jobs.ts';
import { type KnownSignals, SignalReader } from './signal-reader.ts';
import { type UploadLimits, Uploads, uploadLimits } from './uploads.ts';

export interface ResearchDeskOptions {
  readonly dataFolder: string;
  /** Of the program, for what an export says about itself. */
  readonly version: string;
  readonly nowS: () => number;
  readonly logger: Logger;
  /** What is known of a sensor now. */
  readonly setupOf: (store: ClubStore, sensorId: string) => Promise<SensorSetup>;
  /** Entry of the thread that imports (`ImportTask` to `ImportDone`); whoever composes the program has it. */
  readonly importThread: URL | null;
  readonly limits?: UploadLimits;
}

/** Folders of the data folder that hold what only a running service needs. */
const samplesFolder = 'samples-in-use';
const uploadsFolder = 'uploads-in-use';
const exportsFolder = 'exports-in-use';

/** What the researcher's routes work with: samples of recordings, uploads, and work that takes its time. */
export class ResearchDesk {
  readonly jobs: ResearchJobs;
  readonly uploads: Uploads;
  readonly #options: ResearchDeskOptions;
  readonly #signals: SignalReader;

  constructor(options: ResearchDeskOptions) {
    const { dataFolder, nowS, logger, limits = uploadLimits } = options;
    this.#options = options;
    this.#signals = new SignalReader(path.join(dataFolder, samplesFolder), nowS);
    this.uploads = new Uploads(path.join(dataFolder, uploadsFolder), limits);
    this.jobs = new ResearchJobs(nowS, logger, (id) => this.#removeExport(id));
    rmSync(path.join(dataFolder, exportsFolder), { recursive: true, force: true });
  }

  /**
   * @returns what is known of the samples of a session; asked for the first time, they begin to be read.
   * @throws SeamwiseError `store-missing` where there is no recording.
   */
  async signals(store: ClubStore, session: Session, isAnew: boolean): Promise<KnownSignals> {
    const known = isAnew ? null : this.#signals.known(session.id);
    if (known !== null && known.state !== 'failed') return known;
    const file = this.#recordingOf(session);
    const setups = await setupsOf(store, (sensorId) => this.#options.setupOf(store, sensorId));
    // What failed is tried again, and told first.
    const reading = this.#signals.open(session.id, { file, startedS: session.started_s, setups });
    return known ?? reading;
  }

  /** @throws SeamwiseError `no-session` while the samples are not read. */
  window(sessionId: string, question: Parameters<SignalReader['window']>[1]): Promise<ArrayBuffer> {
    if (this.#signals.known(sessionId)?.state !== 'ready') {
      throw new SeamwiseError('no-session', 'the samples of this session are not read yet: ask for its signals first');
    }
    return this.#signals.window(sessionId, question);
  }

  /** Goes through a recording again. @throws SeamwiseError `store-missing` without a recording, `store-taken`. */
  reanalyse(store: ClubStore, session: Session, actor: Actor): WireJob {
    this.#recordingOf(session);
    const words = { kind: 'reanalysis', byName: actor.name, sessionId: session.id } as const;
    return this.jobs.start(words, async ({ signal, tell }) => {
      const [result] = await reanalyseSessions({
        ...{ store, signal, sessions: [session], again: true, threadCount: 1, by: actor },
        recordingsFolder: this.#folder(recordingsFolder),
        setupOf: (sensorId) => this.#options.setupOf(store, sensorId),
        onShare: (_, share) => tell(share),
      });
      if (!result || result.state === 'stopped') throw new CancelledError('stopped');
      if (result.state === 'failed')
        throw new SeamwiseError('reanalysis-failed', result.message ?? 'no reason was told');
      const { again, changed, added, absorbed, notFound } = result;
      return { counts: { again, changed, added, absorbed, notFound } };
    });
  }

  /** Imports files that were sent. @throws SeamwiseError `store-missing`, `upload-refused` or `store-taken`. */
  import(store: ClubStore, uploadId: string, words: Omit<ImportTask, 'dataFolder' | 'files'>): WireJob {
    const { importThread, dataFolder } = this.#options;
    if (importThread === null)
      throw new SeamwiseError('store-missing', 'this service was started without the means to import');
    const files = this.uploads.take(uploadId);
    const folder = this.uploads.folderOf(uploadId);
    const before = new Set(this.#recordingNames());
    try {
      return this.jobs.start(
        { kind: 'import', byName: words.actor.name, sessionId: null },
        async ({ signal, tell }) => {
          try {
            const task: ImportTask = { ...words, dataFolder, files };
            const done = await runJobThread<ImportTask, ImportDone>({
              entry: importThread,
              task,
              signal,
              onProgress: tell,
            });
            const { sessionId, shotCount, mergedCount, startFrom, warnings } = done;
            const guessed =
              startFrom === 'file-date' ? ['When it began was not said: the date of the file stands for it.'] : [];
            const messages = [...guessed, ...warnings.map((text) => withoutFolder(text, folder))];
            return { sessionId, messages, counts: { shots: shotCount, merged: mergedCount } };
          } catch (error) {
            if (error instanceof CancelledError) await this.#removeCopies(store, files, before);
            if (error instanceof Error) error.message = withoutFolder(error.message, folder);
            throw error;
          } finally {
            this.uploads.remove(uploadId);
          }
        },
      );
    } catch (error) {
      this.uploads.remove(uploadId);
      throw error;
    }
  }

  /** Writes an export, to be downloaded. @throws SeamwiseError `store-taken`. */
  export(
    words: Omit<ExportTask, 'dataFolder' | 'folder' | 'version' | 'keyFile'> & { withKey: boolean },
    actor: Actor,
  ): WireJob {
    const { withKey, ...task } = words;
    const { dataFolder, version } = this.#options;
    return this.jobs.start({ kind: 'export', byName: actor.name, sessionId: null }, async ({ id, signal, tell }) => {
      const folder = this.exportFolder(id);
      const keyFile = withKey ? this.keyFile(id) : null;
      try {
        const { report, warnings } = await runJobThread<ExportTask, ExportDone>({
          entry: exportThread,
          task: { ...task, dataFolder, folder, version, keyFile },
          signal,
          onProgress: tell,
        });
        const { shotCount, sessionCount, playerCount, sampleCount, withheldCount, unnamedCount, troubles } = report;
        return {
          messages: [...warnings, ...troubles],
          counts: {
            ...{ shots: shotCount, sessions: sessionCount, players: playerCount, samples: sampleCount },
            ...{ withheld: withheldCount, unnamed: unnamedCount, hasKey: withKey ? 1 : 0 },
          },
        };
      } catch (error) {
        this.#removeExport(id);
        if (error instanceof Error) error.message = withoutFolder(error.message, this.#folder(exportsFolder));
        throw error;
      }
    });
  }

  /** A thread that was stopped leaves the copy of a recording that no session knows. */
  async #removeCopies(store: ClubStore, files: readonly string[], before: ReadonlySet<string>): Promise<void> {
    const known = new Set((await store.sessions.recorded()).map(({ recording }) => recording));
    const stems = files.map((file) => path.basename(file, path.extname(file)));
    const isCopy = (name: string): boolean =>
      stems.some((stem) => name.startsWith(stem) && /^(-\d+)?\.mcap(\.part)?$/.test(name.slice(stem.length)));
    for (const name of this.#recordingNames()) {
      if (!isCopy(name) || before.has(name) || known.has(name)) continue;
      rmSync(path.join(this.#folder(recordingsFolder), name), { force: true });
    }
  }

  #recordingNames(): string[] {
    const folder = this.#folder(recordingsFolder);
    return existsSync(folder) ? readdirSync(folder) : [];
  }

  /** Where a finished export lies. */
  exportFolder(jobId: string): string {
    return path.join(this.#folder(exportsFolder), jobId, 'seamwise-export');
  }

  /** Where the key of an export lies, where one was made. */
  keyFile(jobId: string): string {
    return path.join(this.#folder(exportsFolder), jobId, 'key.json');
  }

  /** Stops all work; what only a running service needs goes. */
  async close(): Promise<void> {
    await this.jobs.close();
    await this.#signals.close();
    this.uploads.close();
    rmSync(this.#folder(exportsFolder), { recursive: true, force: true });
  }

  #folder(name: string): string {
    return path.join(this.#options.dataFolder, name);
  }

  /** @throws SeamwiseError `store-missing`. */
  #recordingOf({ recording, simulated, recording_deleted_s }: Session): string {
    if (recording !== null) return path.join(this.#folder(recordingsFolder), path.basename(recording));
    const why = simulated
      ? 'what the simulated shooter sends is not recorded'
      : recording_deleted_s !== null
        ? 'its recording is not kept any longer'
        : 'it came without one: of CSV files the shots alone are kept';
    throw new SeamwiseError('store-missing', `this session has no recording: ${why}`);
  }

  #removeExport(jobId: string): void {
    rmSync(path.join(this.#folder(exportsFolder), jobId), { recursive: true, force: true });
  }
}

/** Where files lie here is nothing to a person with a page. */
function withoutFolder(text: string, folder: string): string {
  const inFolder = new RegExp(`${folder.replace(/[.*+?^${}()|[\]\\]/g, '\\$&')}[\\\\/](?:\\d+[\\\\/])?`, 'g');
  return text.replaceAll(inFolder, '');
}

const exportThread = new URL(
  import.meta.url.endsWith('.ts') ? './export-thread.ts' : './export-thread.js',
  import.meta.url,
);
