import { existsSync, readdirSync, rmSync } from 'node:fs';
import path from 'node:path';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import { erasedName, nameInTexts } from '../../sessions/database/erase-player.ts';
import { ErasedPlayers } from '../../sessions/erased-players.ts';
import { findTraces } from '../../sessions/find-traces.ts';
import { cutRecording } from '../../sessions/recording/cut-recording.ts';
import { JsonWristCalibrationStore } from '../../sessions/wrist-calibration/json-wrist-calibration-store.ts';
import { spinReferenceFile } from '../spin-references.ts';
import { databaseFile, recordingsFolder } from './practice-keeper.ts';

/** What an erasure did. */
export interface ErasedFiles {
  readonly deletedRecordings: number;
  readonly cutRecordings: number;
  readonly cutNotifications: number;
  /** Copies of the database that the program itself had laid beside it. */
  readonly deletedCopies: number;
}

/**
 * Deletes everything of one player: cuts it out of the recordings first, then from the reference shots and the database, with the
 * copies of it in the data folder, and remembers the id, so that a backup that is put back loses it too. Stopped half-way, it can be
 * asked for again. No recording that the player is in may be written meanwhile.
 */
export async function erasePlayerFrom(store: ClubStore, dataFolder: string, playerId: string): Promise<ErasedFiles> {
  const { pseudonym } = await store.players.get(playerId);
  await new ErasedPlayers(dataFolder).add(playerId);
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
  await takeNameOutOfMarks(path.join(dataFolder, recordingsFolder), pseudonym);
  await new JsonWristCalibrationStore(path.join(dataFolder, spinReferenceFile)).clear({
    id: playerId,
    name: pseudonym,
  });
  // Laid there before a step of the tables and before a restore; they hold the player too.
  const copies = readdirSync(dataFolder).filter((name) => name.startsWith(`${databaseFile}.`));
  for (const name of copies) rmSync(path.join(dataFolder, name));
  await store.erasePlayer(playerId);
  return { deletedRecordings, cutRecordings, cutNotifications, deletedCopies: copies.length };
}

/** What somebody typed as the name of a mark stands in the recording as it was typed. */
async function takeNameOutOfMarks(folder: string, pseudonym: string): Promise<void> {
  const word = nameInTexts(pseudonym);
  if (word === null || !existsSync(folder)) return;
  // In a mark's JSON a quote or backslash of the name stands escaped; those are found below all the same.
  const inJson = nameInTexts(JSON.stringify(pseudonym).slice(1, -1)) ?? word;
  for (const name of findTraces(folder, [pseudonym, JSON.stringify(pseudonym).slice(1, -1)])) {
    if (name.endsWith('.mcap'))
      await cutRecording(path.join(folder, name), [], (text) => text.replace(inJson, erasedName));
  }
}
