import { readdir } from 'node:fs/promises';
import path from 'node:path';
import type { Logger } from '../../foundation/logger.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { Actor } from '../../sessions/database/store-context.ts';
import { recoverRecording } from '../../sessions/recording/recover-recording.ts';

const recovery: Actor = { role: 'host', name: 'recovery' };

/**
 * Brings in order what a run left that was killed: recordings without an end are closed, sessions without one end where
 * they were last heard of. Tells what was lost; never fails.
 */
export async function recoverRecordings(store: ClubStore, folder: string, logger: Logger): Promise<void> {
  try {
    // Taken at once: what is begun after this call is none of the past.
    const open = await store.sessions.openOnes();
    const names = (await readdir(folder)).filter((name) => name.endsWith('.mcap'));
    const unclosed = names.filter((name) => open.some(({ recording }) => recording === name));
    for (const name of unclosed) {
      try {
        const recovered = await recoverRecording(path.join(folder, name));
        if (recovered) logger.warn({ recording: name, lost: recovered.damage.places }, recovered.message);
      } catch (error) {
        logger.error({ recording: name, why: inWords(error) }, 'a recording of an earlier run could not be recovered');
      }
    }
    for (const { id } of open) await store.sessions.change(recovery, id, { ended: true });
  } catch (error) {
    logger.error({ why: inWords(error) }, 'what an earlier run left could not be looked through');
  }
}

function inWords(error: unknown): string {
  return error instanceof Error ? error.message : String(error);
}
