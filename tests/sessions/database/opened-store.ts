import { ClubStore } from '../../../src/sessions/database/club-store.ts';
import type { AnalysedShot } from '../../../src/sessions/database/shot-records.ts';
import type { Actor } from '../../../src/sessions/database/store-context.ts';
import { madeShot } from '../../server/made-shots.ts';

export const coach: Actor = { role: 'coach', name: 'Coach A' };

/** A store with a clock of its own that stands until it is told to go on. */
export async function openedStore(file = ':memory:') {
  const clock = { nowS: 1_764_000_000 };
  const store = await ClubStore.open({ file, nowS: () => clock.nowS });
  return { store, clock };
}

/** A session with one player who agreed to being recorded. */
export async function withPlayer(store: ClubStore, pseudonym = 'Player 07') {
  const playerId = await store.players.add(coach, { pseudonym });
  await store.players.giveConsent(coach, playerId, 'record', 'parent');
  const sessionId = await store.sessions.start(coach, {
    name: 'Tuesday',
    timeZone: 'Europe/Berlin',
    simulated: true,
    recording: null,
    settings: { ballSize: 7 },
  });
  return { playerId, sessionId };
}

export function madeResult(index: number): AnalysedShot {
  return { shot: madeShot(index), analysisVersion: '1', parameters: { ballSize: 7 } };
}
