import { type ChildProcess, fork } from 'node:child_process';
import os from 'node:os';
import { fileURLToPath } from 'node:url';
import type { PlayedPractice, PracticeSpec } from './play-practice.ts';

const workerFile = fileURLToPath(new URL('./practice-worker.ts', import.meta.url));

/**
 * Plays many practices on all cores (two at most) and gives them back in the order of their specs.
 *
 * @param take called for each in order, as soon as it and all before it are there.
 * @throws Error when a practice fails, naming its seed.
 */
export async function playAll(
  specs: readonly PracticeSpec[],
  take: (played: PlayedPractice, spec: PracticeSpec, index: number) => void,
): Promise<void> {
  const count = Math.min(2, os.availableParallelism(), specs.length);
  const done = new Map<number, PlayedPractice>();
  let next = 0;
  let taken = 0;
  const workers = Array.from({ length: count }, () => fork(workerFile, { serialization: 'advanced' }));
  const work = async (worker: ChildProcess): Promise<void> => {
    while (next < specs.length) {
      const index = next++;
      done.set(index, await ask(worker, specs[index] as PracticeSpec));
      for (let ready = done.get(taken); ready; ready = done.get(taken)) {
        take(ready, specs[taken] as PracticeSpec, taken);
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

function ask(worker: ChildProcess, spec: PracticeSpec): Promise<PlayedPractice> {
  return new Promise((resolve, reject) => {
    const settle = () => {
      worker.off('message', answered);
      worker.off('exit', ended);
    };
    const answered = (played: unknown) => {
      settle();
      resolve(played as PlayedPractice);
    };
    const ended = (code: number | null, signal: string | null) => {
      settle();
      reject(new Error(`the practice with seed ${spec.seed} ended its process with ${signal ?? `exit code ${code}`}`));
    };
    worker.on('message', answered);
    worker.on('exit', ended);
    worker.send(spec);
  });
}
