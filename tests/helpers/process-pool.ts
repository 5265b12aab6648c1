import { type ChildProcess, fork } from 'node:child_process';
import os from 'node:os';

export interface PoolOptions<Spec, Result> {
  /** Module that is run in each process and sends one message back for each that it gets. */
  readonly workerFile: string;
  readonly specs: readonly Spec[];
  /** Called for each in order, as soon as it and all before it are there. */
  readonly take: (result: Result, spec: Spec, index: number) => void;
  /** What a spec is called where it fails. */
  readonly nameOf: (spec: Spec) => string;
}

/**
 * Works through specs in processes of their own, one a core and two at most.
 *
 * @throws Error when a process ends over a spec, naming it.
 */
export async function runInProcesses<Spec, Result>(options: PoolOptions<Spec, Result>): Promise<void> {
  const { workerFile, specs, take, nameOf } = options;
  const count = Math.min(2, os.availableParallelism(), specs.length);
  const done = new Map<number, Result>();
  let next = 0;
  let taken = 0;
  const workers = Array.from({ length: count }, () => fork(workerFile, { serialization: 'advanced' }));
  const work = async (worker: ChildProcess): Promise<void> => {
    while (next < specs.length) {
      const index = next++;
      const spec = specs[index] as Spec;
      done.set(index, await ask<Spec, Result>(worker, spec, nameOf(spec)));
      while (done.has(taken)) {
        take(done.get(taken) as Result, specs[taken] as Spec, taken);
        done.delete(taken);
        taken++;
      }
    }
  };
  try {
    await Promise.all(workers.map(work));
  } finally {
    for (const worker of workers) worker.kill();
  }
}

function ask<Spec, Result>(worker: ChildProcess, spec: Spec, name: string): Promise<Result> {
  return new Promise((resolve, reject) => {
    const settle = () => {
      worker.off('message', answered);
      worker.off('exit', ended);
    };
    const answered = (result: unknown) => {
      settle();
      resolve(result as Result);
    };
    const ended = (code: number | null, signal: string | null) => {
      settle();
      reject(new Error(`${name} ended its process with ${signal ?? `exit code ${code}`}`));
    };
    worker.on('message', answered);
    worker.on('exit', ended);
    worker.send(spec as object);
  });
}
