import type { ClubStore } from '../../database/club-store.ts';
import type { Session } from '../../database/session-records.ts';
import type { ShotFilter } from '../../database/shot-records.ts';
import { goesOut, willingPlayers } from './export-consent.ts';

/** What an export would hold, and what would stay here. */
export interface ExportPreview {
  readonly shotCount: number;
  readonly playerIds: readonly string[];
  /** Sessions of which shots go out. */
  readonly sessions: readonly Session[];
  /** Shots of players who have not agreed, by player. */
  readonly withheld: ReadonlyMap<string, number>;
  readonly unnamedCount: number;
}

/** Counts what an export with the same filter would write and leave out, by the same rule. */
export async function previewExport(
  store: ClubStore,
  filter: Omit<ShotFilter, 'after' | 'limit'>,
  withUnnamed: boolean,
): Promise<ExportPreview> {
  const consent = { willing: await willingPlayers(store), withUnnamed };
  const sessions = new Map<string, Session>();
  const players = new Set<string>();
  const withheld = new Map<string, number>();
  let [shotCount, unnamedCount] = [0, 0];
  for (const shots of await store.shots.counts(filter)) {
    const { session_id, player_id, count } = shots;
    const session = sessions.get(session_id) ?? (await store.sessions.get(session_id));
    if (goesOut(shots, session, consent)) {
      shotCount += count;
      sessions.set(session_id, session);
      if (player_id !== null) players.add(player_id);
    } else if (player_id === null) unnamedCount += count;
    else withheld.set(player_id, (withheld.get(player_id) ?? 0) + count);
  }
  return { shotCount, playerIds: [...players], sessions: [...sessions.values()], withheld, unnamedCount };
}
