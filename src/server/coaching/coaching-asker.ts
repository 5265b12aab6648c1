import type { FastifyRequest } from 'fastify';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { Player } from '../../sessions/database/player-records.ts';

/** Who asks, as far as a verdict goes by it. */
export function askerOf({ asker }: FastifyRequest): 'coach' | 'player' {
  return asker?.role === 'player' ? 'player' : 'coach';
}

/**
 * @returns a player whom the one who asks may see: a coach all of them, a player's device those who agreed to being shown, since it is
 * not known here whose it is.
 * @throws SeamwiseError `store-missing` or `no-consent`.
 */
export async function visiblePlayer(store: ClubStore, request: FastifyRequest, playerId: string): Promise<Player> {
  const player = await store.players.get(playerId);
  if (askerOf(request) === 'player') await store.players.requireConsent(playerId, 'display');
  return player;
}
