import { mkdtempSync, readdirSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { expect, it } from 'vitest';
import { CancelledError, runJobThread } from '../../../src/server/research/job-thread.ts';

const entry = new URL('../../helpers/endless-job.ts', import.meta.url);

it('is stopped in the middle of the database without harm to the program, again and again', async () => {
  const folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-job-thread-'));
  const file = path.join(folder, 'club.db');
  for (let round = 0; round < 6; round++) {
    const stop = new AbortController();
    let told = 0;
    const job = runJobThread<{ file: string }, never>({
      ...{ entry, task: { file }, signal: stop.signal },
      onProgress: () => {
        told += 1;
        if (told === 3 + round) stop.abort();
      },
    });
    await expect(job).rejects.toThrow(CancelledError);
    expect(told).toBeGreaterThanOrEqual(3 + round);
  }
  // The thread closed its database as it does after any work.
  expect(readdirSync(folder)).toEqual(['club.db']);
  rmSync(folder, { recursive: true, force: true });
});

it('that was stopped before it began is not begun', async () => {
  const stop = new AbortController();
  stop.abort();
  const job = runJobThread({ entry, task: {}, signal: stop.signal, onProgress: () => {} });
  await expect(job).rejects.toThrow(CancelledError);
});
