import { createHash } from 'node:crypto';
import { open, rm } from 'node:fs/promises';
import { SeamwiseError } from '../../../foundation/errors.ts';
import type { ClubStore } from '../../../sessions/database/club-store.ts';

/**
 * Brings a recording that a court handed over to this machine.
 *
 * @returns its checksum. @throws SeamwiseError `store-missing` where the hub has not all of it, `recording-read-failed` where it is not what
 * was announced; no file is left then.
 */
export async function fetchRecording(
  store: Pick<ClubStore, 'handedRecordings'>,
  sessionId: string,
  file: string,
): Promise<string> {
  const about = await store.handedRecordings.about(sessionId);
  if (about === null) {
    throw new SeamwiseError(
      'store-missing',
      `the hub has no whole recording of the session ${sessionId}: its court hands it over once the practice has ended and everybody in it agreed`,
    );
  }
  const hash = createHash('sha256');
  let bytes = 0;
  const target = await open(file, 'w', 0o600);
  try {
    for await (const piece of store.handedRecordings.pieces(sessionId)) {
      hash.update(piece);
      bytes += piece.length;
      await target.write(piece);
    }
  } finally {
    await target.close();
  }
  const checksum = hash.digest('hex');
  if (checksum === about.checksum) return checksum;
  await rm(file, { force: true });
  throw new SeamwiseError(
    'recording-read-failed',
    `the recording of the session ${sessionId} came to this machine as ${bytes} bytes with the checksum ${checksum.slice(0, 12)}…: expected ${about.byteCount} bytes, ${about.checksum.slice(0, 12)}…. It may have been cut meanwhile; it is tried again`,
  );
}
