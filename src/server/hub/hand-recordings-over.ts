import { createHash } from 'node:crypto';
import { createReadStream } from 'node:fs';
import { open, stat } from 'node:fs/promises';
import path from 'node:path';
import type { Logger } from '../../foundation/logger.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import { type HubClient, HubRefusalError } from './hub-client.ts';

const pieceBytes = 1024 * 1024;

/**
 * Hands the recordings of practices that have ended over to the hub, where everybody in them agreed to it, each once and again when
 * it was cut. A transfer that broke off goes on with the pieces that are missing.
 *
 * @throws HubAwayError
 */
export async function handRecordingsOver(
  store: ClubStore,
  client: HubClient,
  folder: string,
  logger: Logger,
): Promise<void> {
  for (const { id, recording, recording_deleted_s } of await store.sessions.withRecordings()) {
    if (recording === null || recording_deleted_s !== null) continue;
    const file = path.join(folder, recording);
    const found = await stat(file).catch(() => null);
    if (found === null || found.size === 0) continue;
    const signature = `${found.size} ${found.mtimeMs}`;
    const name = `recording ${id}`;
    if ((await store.hub.remembered(name)) === signature || !(await store.hub.mayHandRecording(id))) continue;
    try {
      await handOver(client, id, file, found.size);
      await store.hub.remember(name, signature);
    } catch (error) {
      // A hub that has not the session yet, or a file that was cut meanwhile: the next time will tell.
      if (!(error instanceof HubRefusalError) || error.status === 401) throw error;
      logger.warn({ recording, why: error.message }, 'a recording could not be handed over to the hub');
    }
  }
}

async function handOver(client: HubClient, sessionId: string, file: string, byteCount: number): Promise<void> {
  const checksum = await checksumOf(file);
  let state = await client.announce(sessionId, { byteCount, pieceBytes, checksum });
  const handle = await open(file, 'r');
  try {
    while (!state.complete) {
      // Each answer says what is missing; all of this round first.
      for (const place of [...state.missing]) {
        const piece = Buffer.alloc(Math.min(pieceBytes, byteCount - place * pieceBytes));
        await handle.read(piece, 0, piece.length, place * pieceBytes);
        state = await client.sendPiece(sessionId, place, createHash('sha256').update(piece).digest('hex'), piece);
        if (state.complete) return;
      }
    }
  } finally {
    await handle.close();
  }
}

async function checksumOf(file: string): Promise<string> {
  const hash = createHash('sha256');
  for await (const part of createReadStream(file)) hash.update(part as Buffer);
  return hash.digest('hex');
}
