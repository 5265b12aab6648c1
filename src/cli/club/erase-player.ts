import { SeamwiseError } from '../../foundation/errors.ts';
import { serviceUsing } from '../../server/folder-lock.ts';
import { type ErasedFiles, erasePlayerFrom } from '../../server/practice/erase-player.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import { nameInTexts } from '../../sessions/database/erase-player.ts';
import { erasedPlayersFile } from '../../sessions/erased-players.ts';
import { findTraces } from '../../sessions/find-traces.ts';

/** What an erasure did, for the person who asked for it. */
export interface Erasure extends ErasedFiles {
  /** Files of the data folder in which the name or the id still stands, after all of them were looked through. */
  readonly remaining: readonly string[];
}

/**
 * Deletes everything of one player (`erasePlayerFrom`), then looks through every byte of the data folder whether anything is left.
 *
 * @throws SeamwiseError `data-folder-in-use` while a service runs: it may be writing the recording that is to be cut.
 */
export async function erasePlayer(store: ClubStore, dataFolder: string, playerId: string): Promise<Erasure> {
  const user = await serviceUsing(dataFolder);
  if (user !== null) {
    throw new SeamwiseError(
      'data-folder-in-use',
      `the service at ${user} uses ${dataFolder}: stop it, then delete the player`,
    );
  }
  const { pseudonym } = await store.players.get(playerId);
  const erased = await erasePlayerFrom(store, dataFolder, playerId);
  const tooShort = nameInTexts(pseudonym) === null;
  const remaining = findTraces(dataFolder, tooShort ? [playerId] : [playerId, pseudonym], [erasedPlayersFile]);
  return { ...erased, remaining };
}

/** @throws SeamwiseError `traces-left` when a file of the data folder still holds something of a deleted player. */
export function requireNothingLeft(remaining: readonly string[], dataFolder: string): void {
  if (remaining.length === 0) return;
  throw new SeamwiseError(
    'traces-left',
    `the name or the id still stands in ${remaining.join(', ')} of ${dataFolder}: look there and delete what is of this player`,
  );
}
