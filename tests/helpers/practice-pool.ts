import { fileURLToPath } from 'node:url';
import type { PlayedPractice, PracticeSpec } from './play-practice.ts';
import { runInProcesses } from './process-pool.ts';

const workerFile = fileURLToPath(new URL('./practice-worker.ts', import.meta.url));

/**
 * Plays many practices on all cores (two at most) and gives them back in the order of their specs.
 *
 * @param take called for each in order, as soon as it and all before it are there.
 * @throws Error when a practice fails, naming its seed.
 */
export function playAll(
  specs: readonly PracticeSpec[],
  take: (played: PlayedPractice, spec: PracticeSpec, index: number) => void,
): Promise<void> {
  return runInProcesses({ workerFile, specs, take, nameOf: ({ seed }) => `the practice with seed ${seed}` });
}
