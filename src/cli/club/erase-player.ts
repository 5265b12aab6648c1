import { existsSync, rmSync } from 'node:fs';
import path from 'node:path';
import { recordingsFolder } from '../../server/practice/practice-keeper.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import { ErasedPlayers } from '../../sessions/erased-players.ts';
import { cutRecording } from '../../sessions/recording/cut-recording.ts';

/** What an erasure did, for the person who asked for it. */
export interface Erasure {
  readonly deletedRecordings: number;
  readonly cutRecordings: number;
  readonly cutNotifications: number;
}

/**
 * Deletes everything of one player: cuts it out of the recordings first, then from the database, and remembers the id, so that
 * a backup that is put back loses it too. Stopped half-way, it can be asked for again.
 */
export async function erasePlayer(store: ClubStore, dataFolder: string, playerId: string): Promise<Erasure> {
  new ErasedPlayers(dataFolder).add(playerId);
  let deletedRecordings = 0;
  let cutRecordings = 0;
  let cutNotifications = 0;
  for (const { recording, isAllOfIt, spans } of await store.tracesOf(playerId)) {
    const file = path.join(dataFolder, recordingsFolder, recording);
    // What a recovery left beside the recording may hold the same.
    for (const end of ['.part', '.damaged']) rmSync(`${file}${end}`, { force: true });
    if (!existsSync(file)) continue;
    if (isAllOfIt) {
      rmSync(file);
      deletedRecordings += 1;
    } else {
      cutNotifications += await cutRecording(file, spans);
      cutRecordings += 1;
    }
  }
  await store.erasePlayer(playerId);
  return { deletedRecordings, cutRecordings, cutNotifications };
}
