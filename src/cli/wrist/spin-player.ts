import { existsSync } from 'node:fs';
import path from 'node:path';
import { systemClock } from '../../devices/system-clock.ts';
import { databaseFile } from '../../server/practice/practice-keeper.ts';
import { spinPlayer } from '../../server/spin-references.ts';
import { ClubStore } from '../../sessions/database/club-store.ts';
import type { SpinPlayer } from '../../sessions/wrist-calibration/wrist-calibration-store.ts';

/** @returns who is meant by a name or an id in a data folder; a folder without a database gets none. */
export async function spinPlayerOf(dataFolder: string, word: string): Promise<SpinPlayer> {
  const file = path.join(dataFolder, databaseFile);
  if (!existsSync(file)) return spinPlayer(null, word);
  const store = await ClubStore.open({ file, nowS: () => systemClock.nowS() });
  try {
    return await spinPlayer(store.players, word);
  } finally {
    await store.close();
  }
}
