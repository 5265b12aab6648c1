/** Thread that imports files which a page sent, as the command does it. */
import path from 'node:path';
import { Writable } from 'node:stream';
import { systemClock } from '../../devices/system-clock.ts';
import { databaseFile } from '../../server/practice/practice-keeper.ts';
import type { ImportDone, ImportTask } from '../../server/research/import-task.ts';
import { answerJob } from '../../server/research/job-thread.ts';
import { ClubStore } from '../../sessions/database/club-store.ts';
import { defaultBallSettings } from '../../shots/shot.ts';
import { importFiles } from './import-files.ts';

await answerJob<ImportTask, ImportDone>(async (task, tell) => {
  const { dataFolder, files, saidSettings, ...words } = task;
  const said: string[] = [];
  const stderr = new Writable({
    write(chunk, _encoding, done) {
      said.push(String(chunk).trim());
      done();
    },
  });
  const store = await ClubStore.open({ file: path.join(dataFolder, databaseFile), nowS: () => systemClock.nowS() });
  try {
    const kept = await importFiles(store, dataFolder, files, {
      ...words,
      saidSettings,
      settings: { ...defaultBallSettings, ...saidSettings },
      csvWords: [],
      stderr,
      onShare: tell,
    });
    const { sessionId, shotCount, mergedCount, startFrom, warnings } = kept;
    return { sessionId, shotCount, mergedCount, startFrom, warnings: [...said, ...warnings] };
  } finally {
    await store.close();
  }
});
