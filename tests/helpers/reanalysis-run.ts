/** Goes through all recordings of a data folder again, in a process of its own that a test can kill; tells its parent each session. */
import path from 'node:path';
import { databaseFile, recordingsFolder } from '../../src/server/practice/practice-keeper.ts';
import { reanalyseSessions } from '../../src/server/reanalysis/reanalyse-sessions.ts';
import { ClubStore } from '../../src/sessions/database/club-store.ts';

const [dataFolder = '', threads = '2'] = process.argv.slice(2);
const store = await ClubStore.open({ file: path.join(dataFolder, databaseFile), nowS: () => Date.now() / 1000 });
await reanalyseSessions({
  store,
  sessions: await store.sessions.withRecordings(),
  recordingsFolder: path.join(dataFolder, recordingsFolder),
  again: false,
  threadCount: Number(threads),
  onSession: (result) => process.send?.(result),
});
await store.close();
process.disconnect?.();
