import { createHash } from 'node:crypto';

/** @returns under what a player is known once nothing of the player may be kept: SHA-256 of the id, in hexadecimal. */
export function playerMark(playerId: string): string {
  return createHash('sha256').update(playerId).digest('hex');
}
