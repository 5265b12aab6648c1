import { existsSync, readdirSync, rmSync } from 'node:fs';
import path from 'node:path';
import { SeamwiseError } from '../../foundation/errors.ts';
import { serviceUsing } from '../../server/folder-lock.ts';
import { databaseFile, recordingsFolder } from '../../server/practice/practice-keeper.ts';
import { spinReferenceFile } from '../../server/spin-references.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import { ErasedPlayers } from '../../sessions/erased-players.ts';
import { cutRecording } from '../../sessions/recording/cut-recording.ts';
import { JsonWristCalibrationStore } from '../../sessions/wrist-calibration/json-wrist-calibration-store.ts';

/** What an erasure did, for the person who asked for it. */
export interface Erasure {
  readonly deletedRecordings: number;
  readonly cutRecordings: number;
  readonly cutNotifications: number;
  /** Copies of the database that the program itself had laid beside it. */
  readonly deletedCopies: number;
}

/**
 * Deletes everything of one player: cuts it out of the recordings first, then from the reference shots and the database, with the
 * copies of it in the data folder, and remembers the id, so that a backup that is put back loses it too. Stopped half-way, it can be
 * asked for again.
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
  await new JsonWristCalibrationStore(path.join(dataFolder, spinReferenceFile)).clear(pseudonym);
  // Laid there before a step of the tables and before a restore; they hold the player too.
  const copies = readdirSync(dataFolder).filter((name) => name.startsWith(`${databaseFile}.before-`));
  for (const name of copies) rmSync(path.join(dataFolder, name));
  await store.erasePlayer(playerId);
  return { deletedRecordings, cutRecordings, cutNotifications, deletedCopies: copies.length };
}
