import { parentPort, Worker, workerData } from 'node:worker_threads';
import { type ErrorCode, SeamwiseError } from '../../foundation/errors.ts';

/** What a thread with one piece of work says. */
type FromThread<Result> =
  | { readonly kind: 'progress'; readonly share: number }
  | { readonly kind: 'done'; readonly result: Result }
  | { readonly kind: 'failed'; readonly code: string | null; readonly message: string };

export interface JobThreadOptions<Task> {
  /** The thread's own file, `.ts` or compiled. */
  readonly entry: URL;
  readonly task: Task;
  readonly onProgress: (share: number) => void;
  readonly signal: AbortSignal;
}

/** Work that was stopped because somebody asked for it. */
export class CancelledError extends Error {}

/** @returns a worker of a file, whether it is compiled or not. */
export function startThread(entry: URL, data: object): Worker {
  return new Worker(new URL(entry.href.replace(/\.ts$/, '-from-source.mjs')), { workerData: data });
}

/**
 * Does one piece of work in a thread of its own, so that shots go on being told meanwhile. One that is to stop is asked to: a thread
 * that is ended from outside while the database's native part works takes the whole program with it.
 *
 * @throws CancelledError when it was stopped, SeamwiseError or Error with what the thread says went wrong.
 */
export function runJobThread<Task, Result>(options: JobThreadOptions<Task>): Promise<Result> {
  const { entry, task, onProgress, signal } = options;
  if (signal.aborted) return Promise.reject(new CancelledError('stopped'));
  return new Promise<Result>((resolve, reject) => {
    const stopFlag = new Int32Array(new SharedArrayBuffer(4));
    const worker = startThread(entry, { task, stopFlag });
    let isSettled = false;
    const settle = (work: () => void): void => {
      if (isSettled) return;
      isSettled = true;
      signal.removeEventListener('abort', stop);
      void worker.terminate().finally(work);
    };
    const stop = (): void => void Atomics.store(stopFlag, 0, 1);
    const fail = (error: Error): void => settle(() => reject(signal.aborted ? new CancelledError('stopped') : error));
    signal.addEventListener('abort', stop);
    worker.on('message', (said: FromThread<Result>) => {
      if (said.kind === 'progress') onProgress(said.share);
      // Done in spite of the wish to stop it is done.
      else if (said.kind === 'done') settle(() => resolve(said.result));
      else fail(errorOf(said.code, said.message));
    });
    worker.on('error', fail);
    worker.on('exit', (code) => fail(new Error(`the thread ended with code ${code} before it was done`)));
  });
}

/**
 * Runs in the thread: does the work that it was started for and says what came of it. Work that is to stop gets a CancelledError the next
 * time it tells how far it is, and takes back what it began.
 */
export async function answerJob<Task, Result>(
  work: (task: Task, tell: (share: number) => void) => Promise<Result>,
): Promise<void> {
  const say = (said: FromThread<Result>): void => parentPort?.postMessage(said);
  const { task, stopFlag } = workerData as { readonly task: Task; readonly stopFlag: Int32Array };
  let lastPercent = -1;
  const tell = (share: number): void => {
    if (Atomics.load(stopFlag, 0) !== 0) throw new CancelledError('stopped');
    const percent = Math.floor(100 * share);
    if (percent === lastPercent) return;
    lastPercent = percent;
    say({ kind: 'progress', share });
  };
  try {
    say({ kind: 'done', result: await work(task, tell) });
  } catch (error) {
    const code = error instanceof Error && 'code' in error && typeof error.code === 'string' ? error.code : null;
    say({ kind: 'failed', code, message: error instanceof Error ? error.message : String(error) });
  }
}

function errorOf(code: string | null, message: string): Error {
  return code === null ? new Error(message) : new SeamwiseError(code as ErrorCode, message);
}
