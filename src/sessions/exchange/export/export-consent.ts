import type { ClubStore } from '../../database/club-store.ts';
import type { Session } from '../../database/session-records.ts';
import type { StoredShot } from '../../database/shot-records.ts';

/** Who agreed, and what the asker answers for. */
export interface ExportConsent {
  /** Players who agree to an export now. */
  readonly willing: ReadonlySet<string>;
  /** Shots of real people that nobody is named for go out too. */
  readonly withUnnamed: boolean;
}

/** @returns ids of players who agreed to an export and did not take that back. */
export async function willingPlayers({ players }: ClubStore): Promise<Set<string>> {
  const willing = new Set<string>();
  for (const { id } of await players.list()) {
    const consents = await players.consents(id);
    if (consents.some(({ scope, withdrawn_s }) => scope === 'export' && withdrawn_s === null)) willing.add(id);
  }
  return willing;
}

/**
 * @returns whether a shot may go out. A simulated shooter is nobody; of a real one who is not named, nobody knows whether that one
 * agreed.
 */
export function goesOut(
  { player_id }: Pick<StoredShot, 'player_id'>,
  { simulated }: Pick<Session, 'simulated'>,
  { willing, withUnnamed }: ExportConsent,
): boolean {
  if (player_id === null) return simulated === 1 || withUnnamed;
  return willing.has(player_id);
}
