import { randomBytes } from 'node:crypto';
import { SeamwiseError } from '../../foundation/errors.ts';
import type { Logger } from '../../foundation/logger.ts';
import type { WireJob } from '../wire/research-document.ts';
import { CancelledError } from './job-thread.ts';

/** What came of a piece of work. */
export interface JobResult {
  readonly sessionId?: string | null;
  readonly messages?: readonly string[];
  readonly counts?: Readonly<Record<string, number>>;
}

export interface JobWords {
  readonly kind: WireJob['kind'];
  readonly byName: string;
  readonly sessionId: string | null;
}

export interface JobTools {
  readonly id: string;
  readonly signal: AbortSignal;
  readonly tell: (share: number) => void;
}

interface Job {
  document: WireJob;
  readonly stop: AbortController;
}

/** Jobs that are remembered, and those that may wait. */
const remembered = 40;
const mostWaiting = 8;

/** Work for researchers, one piece after the other: the practice that runs keeps the rest of the machine. */
export class ResearchJobs {
  readonly #jobs = new Map<string, Job>();
  readonly #nowS: () => number;
  readonly #logger: Logger;
  readonly #forgotten: (id: string) => void;
  #working: Promise<void> = Promise.resolve();

  /** @param forgotten told of each job that is not remembered any longer. */
  constructor(nowS: () => number, logger: Logger, forgotten: (id: string) => void = () => {}) {
    this.#nowS = nowS;
    this.#logger = logger;
    this.#forgotten = forgotten;
  }

  /** Newest first. */
  list(): WireJob[] {
    return [...this.#jobs.values()].map(({ document }) => document).reverse();
  }

  /** @throws SeamwiseError `store-missing`. */
  get(id: string): WireJob {
    return this.#job(id).document;
  }

  /** Begins a piece of work, or has it wait for those before it. @throws SeamwiseError `store-taken` when too many wait. */
  start({ kind, byName, sessionId }: JobWords, work: (tools: JobTools) => Promise<JobResult>): WireJob {
    const open = [...this.#jobs.values()].filter(({ document }) => document.endedS === null);
    if (open.length >= mostWaiting) {
      throw new SeamwiseError(
        'store-taken',
        `${open.length} pieces of work wait already: wait for one of them, or stop one`,
      );
    }
    const id = randomBytes(9).toString('base64url');
    const job: Job = {
      document: {
        ...{ id, kind, state: 'waiting', share: 0, byName, sessionId, messages: [], counts: {} },
        ...{ askedS: this.#nowS(), endedS: null },
      },
      stop: new AbortController(),
    };
    this.#jobs.set(id, job);
    for (const [old, { document }] of this.#jobs) {
      if (this.#jobs.size <= remembered) break;
      if (document.endedS === null) continue;
      this.#jobs.delete(old);
      this.#forgotten(old);
    }
    this.#working = this.#working.then(() => this.#run(job, work));
    return job.document;
  }

  /** Stops a piece of work; what it has done by then that cannot stand alone is taken back. @throws SeamwiseError `store-missing`. */
  stop(id: string): WireJob {
    const job = this.#job(id);
    if (job.document.endedS === null) {
      job.stop.abort();
      if (job.document.state === 'waiting') this.#end(job, { state: 'stopped' });
    }
    return job.document;
  }

  /** Stops everything and waits for it. */
  async close(): Promise<void> {
    for (const id of this.#jobs.keys()) this.stop(id);
    await this.#working;
  }

  #job(id: string): Job {
    const job = this.#jobs.get(id);
    if (job) return job;
    throw new SeamwiseError(
      'store-missing',
      `there is no work with the id ${JSON.stringify(id.slice(0, 40))}, or it is forgotten by now`,
    );
  }

  async #run(job: Job, work: (tools: JobTools) => Promise<JobResult>): Promise<void> {
    const { signal } = job.stop;
    if (signal.aborted) return;
    job.document = { ...job.document, state: 'running' };
    const tell = (share: number): void => {
      if (job.document.endedS === null) job.document = { ...job.document, share: Math.min(1, Math.max(0, share)) };
    };
    try {
      const {
        messages = [],
        counts = {},
        sessionId = job.document.sessionId,
      } = await work({
        ...{ id: job.document.id, signal, tell },
      });
      this.#end(job, { state: 'done', share: 1, messages, counts, sessionId });
    } catch (error) {
      const message = error instanceof Error ? error.message : String(error);
      if (error instanceof CancelledError || signal.aborted) this.#end(job, { state: 'stopped' });
      else {
        if (!(error instanceof SeamwiseError))
          this.#logger.warn({ kind: job.document.kind, message }, 'work for a researcher failed');
        this.#end(job, { state: 'failed', messages: [message] });
      }
    }
  }

  #end(job: Job, change: Partial<WireJob>): void {
    job.document = { ...job.document, ...change, endedS: this.#nowS() };
  }
}
