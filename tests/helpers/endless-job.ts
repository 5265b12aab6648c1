import { answerJob } from '../../src/server/research/job-thread.ts';
import { ClubStore } from '../../src/sessions/database/club-store.ts';
import { coach } from '../sessions/database/opened-store.ts';

/** Work without end in the database's native part, until somebody stops it. */
await answerJob<{ readonly file: string }, never>(async ({ file }, tell) => {
  const store = await ClubStore.open({ file, nowS: () => 1_764_000_000 });
  try {
    for (let count = 0; ; count++) {
      await store.players.add(coach, { pseudonym: `Player ${process.hrtime.bigint()}` });
      await store.players.list();
      tell(1 - 1 / (count + 1));
    }
  } finally {
    await store.close();
  }
});
