import { SeamwiseError } from '../../foundation/errors.ts';
import type { Logger } from '../../foundation/logger.ts';

export interface StoreQueueOptions {
  readonly logger: Logger;
  /** Between two tries, ms; default 1000. */
  readonly retryMs?: number;
  /** Jobs that may wait; beyond that the newest is given up. Default 5000. */
  readonly mostWaiting?: number;
}

const usualRetryMs = 1000;
const usualMostWaiting = 5000;

/**
 * Writes into the database one after the other. What the disk does not take at once waits in memory and is tried again, in
 * its order, until it is written.
 */
export class StoreQueue {
  readonly #logger: Logger;
  readonly #retryMs: number;
  readonly #mostWaiting: number;
  readonly #waiting: (() => Promise<void>)[] = [];
  #working: Promise<unknown> = Promise.resolve();
  #retry: NodeJS.Timeout | undefined;
  #trouble: string | null = null;
  #lost = 0;

  constructor({ logger, retryMs = usualRetryMs, mostWaiting = usualMostWaiting }: StoreQueueOptions) {
    this.#logger = logger;
    this.#retryMs = retryMs;
    this.#mostWaiting = mostWaiting;
  }

  /** Why nothing can be written at the moment, as a sentence, or null. */
  get failure(): string | null {
    if (this.#trouble === null) return this.#lost === 0 ? null : `${this.#lost} shots could not be stored`;
    const lost = this.#lost > 0 ? `, ${this.#lost} are lost` : '';
    return `shots cannot be stored: ${this.#trouble}. ${this.#waiting.length} wait in memory${lost}; free the disk or mend the data folder`;
  }

  /** @returns whether the job is done, and with it all before it; one that is not waits for its turn. */
  run(job: () => Promise<void>): Promise<boolean> {
    const result = this.#working.then(async () => {
      if (this.#waiting.length === 0 && (await this.#isDone(job))) return true;
      if (this.#waiting.length >= this.#mostWaiting) this.#lost += 1;
      else this.#waiting.push(job);
      this.#schedule();
      return false;
    });
    this.#working = result.catch(() => {});
    return result;
  }

  /** Tries what waits once more and says what is lost. */
  async close(): Promise<void> {
    clearTimeout(this.#retry);
    await this.#working;
    await this.#workOff();
    clearTimeout(this.#retry);
    const lost = this.#waiting.length + this.#lost;
    if (lost > 0) this.#logger.error({ lost, why: this.#trouble }, 'shots could not be stored and are lost');
  }

  #schedule(): void {
    clearTimeout(this.#retry);
    this.#retry = setTimeout(() => {
      this.#working = this.#working.then(() => this.#workOff());
    }, this.#retryMs);
    this.#retry.unref();
  }

  async #workOff(): Promise<void> {
    for (let job = this.#waiting[0]; job; job = this.#waiting[0]) {
      if (!(await this.#isDone(job))) {
        this.#schedule();
        return;
      }
      this.#waiting.shift();
    }
  }

  /** A job that cannot be done whatever the disk does is given up and told. */
  async #isDone(job: () => Promise<void>): Promise<boolean> {
    try {
      await job();
      if (this.#trouble !== null) this.#logger.info({}, 'shots are stored again');
      this.#trouble = null;
      return true;
    } catch (error) {
      const why = error instanceof Error ? error.message : String(error);
      if (error instanceof SeamwiseError) {
        this.#lost += 1;
        this.#logger.error({ why }, 'something could not be stored');
        return true;
      }
      if (this.#trouble === null) {
        this.#logger.error(
          { why },
          'shots cannot be stored and wait in memory, where a restart loses them; free the disk or mend the data folder',
        );
      }
      this.#trouble = why;
      return false;
    }
  }
}
