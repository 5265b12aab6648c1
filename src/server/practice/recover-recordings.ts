import { existsSync } from 'node:fs';
import { rm } from 'node:fs/promises';
import path from 'node:path';
import { SeamwiseError } from '../../foundation/errors.ts';
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
    for (const { id, recording } of open) {
      let endS = await store.sessions.lastHeardOfS(id);
      if (recording !== null) {
        const file = path.join(folder, recording);
        if (!existsSync(file)) await store.sessions.forgetRecording(id);
        else {
          try {
            const recovered = await recoverRecording(file);
            if (recovered) logger.warn({ recording, lost: recovered.damage.places }, recovered.message);
            endS = Math.max(endS, recovered?.endHostTimeS ?? endS);
          } catch (error) {
            const why = inWords(error);
            logger.error({ recording, why }, 'a recording of an earlier run could not be recovered');
            // The disk may be full: the session stays open, and the next start tries again.
            if (!(error instanceof SeamwiseError)) continue;
            if (error.code === 'recording-empty') {
              await rm(file, { force: true });
              await store.sessions.forgetRecording(id);
            }
          }
        }
      }
      await store.sessions.end(recovery, id, endS);
    }
  } catch (error) {
    logger.error({ why: inWords(error) }, 'what an earlier run left could not be looked through');
  }
}

function inWords(error: unknown): string {
  return error instanceof Error ? error.message : String(error);
}
