import { sql, type Transaction } from 'kysely';
import { playerMark } from '../hub/player-mark.ts';
import { eraseCoachingRows } from './erase-coaching.ts';
import { exportReasons } from './migrations/011-players-of-exports.ts';
import type { Tables } from './tables.ts';

/** Where people write freely, and may have written a name. */
const freeTexts = {
  session: ['name', 'notes'],
  shot_set: ['name', 'spot', 'notes'],
  set_factor: ['factor', 'level'],
  shot: ['notes'],
  sensor: ['label'],
  mark: ['name'],
  player: ['notes'],
  prescription: ['notes', 'drill'],
  own_drill: ['document'],
  study: ['name', 'factor', 'design'],
} as const;

/** Shorter names are looked for as names of players alone: in a sentence they may be any word. */
const shortestInTexts = 3;
/** Stands where somebody had written the name. */
export const erasedName = '(deleted)';

/** What a hub and its courts are told of the player who is deleted. */
export interface ErasureNotice {
  readonly kind: 'erased' | 'withheld';
  readonly atS: number;
}

/**
 * Deletes every row of a player, the name wherever somebody wrote it, and every memory of either in the log of changes. What courts and
 * hub tell each other of it does not name the player.
 */
export async function erasePlayerRows(
  trx: Transaction<Tables>,
  playerId: string,
  nowS: number,
  notice: ErasureNotice = { kind: 'erased', atS: nowS },
): Promise<void> {
  const player = await trx
    .selectFrom('player')
    .select(['pseudonym', 'club_id'])
    .where('id', '=', playerId)
    .executeTakeFirst();
  await trx
    .deleteFrom('hub_recording')
    .where('id', 'in', (eb) => eb.selectFrom('shot').select('session_id').where('player_id', '=', playerId).distinct())
    .execute();
  await letExportsGo(trx, playerId);
  const shots = await trx.selectFrom('shot').select('id').where('player_id', '=', playerId).execute();
  const sets = await trx.selectFrom('shot_set').select('id').where('player_id', '=', playerId).execute();
  const consents = await trx.selectFrom('consent').select('id').where('player_id', '=', playerId).execute();
  const setIds = sets.map(({ id }) => id);
  await eraseCoachingRows(trx, playerId, setIds);
  for (const { id } of shots) {
    const corrections = await trx.selectFrom('time_correction').select('id').where('shot_id', '=', id).execute();
    for (const correction of corrections) await trx.deleteFrom('edit').where('row_id', '=', correction.id).execute();
    await trx.deleteFrom('time_correction').where('shot_id', '=', id).execute();
    await trx.deleteFrom('shot_result').where('shot_id', '=', id).execute();
    await trx.deleteFrom('shot').where('id', '=', id).execute();
    await trx.deleteFrom('edit').where('row_id', '=', id).execute();
  }
  for (const { id } of sets) {
    const factors = await trx.selectFrom('set_factor').select('id').where('set_id', '=', id).execute();
    for (const factor of factors) await trx.deleteFrom('edit').where('row_id', '=', factor.id).execute();
    await trx.deleteFrom('set_factor').where('set_id', '=', id).execute();
    // Shots of others that were shot in it stay, without it.
    await trx.updateTable('shot').set({ set_id: null }).where('set_id', '=', id).execute();
    await trx.deleteFrom('shot_set').where('id', '=', id).execute();
    await trx.deleteFrom('edit').where('row_id', '=', id).execute();
    await forgetEditsWith(trx, id, null);
  }
  for (const { id } of consents) await trx.deleteFrom('edit').where('row_id', '=', id).execute();
  await trx.deleteFrom('consent').where('player_id', '=', playerId).execute();
  await trx.deleteFrom('rotation_player').where('player_id', '=', playerId).execute();
  await trx.updateTable('sensor').set({ owner_player_id: null }).where('owner_player_id', '=', playerId).execute();
  await trx.deleteFrom('player').where('id', '=', playerId).execute();
  await trx.deleteFrom('edit').where('row_id', '=', playerId).execute();
  // A row of another that once named the player: a shot given to somebody else since, a sensor owned before.
  await forgetEditsWith(trx, playerId, null);
  if (player) await eraseName(trx, player.pseudonym);
  await noteErasure(trx, playerId, player?.club_id ?? null, notice);
}

/** Any export may hold the player's name, in words of others; what is asked for may name the player. */
async function letExportsGo(trx: Transaction<Tables>, playerId: string): Promise<void> {
  const exports = () => trx.updateTable('job').where('kind', '=', 'export');
  await exports()
    .set({ state: 'stopped', lease: null, reason: exportReasons.erased })
    .where('state', '=', 'done')
    .execute();
  await exports()
    .set({ ...{ state: 'waiting', lease: null, lease_until_s: null, share: 0 }, reason: exportReasons.anew })
    .where('state', '=', 'running')
    .execute();
  await trx.deleteFrom('job_file').execute();
  await trx.deleteFrom('job_player').execute();
  const asked = await trx.selectFrom('job').select(['id', 'words']).where('kind', '=', 'export').execute();
  for (const { id, words } of asked) {
    if (!words.includes(playerId)) continue;
    const without = words.replaceAll(playerId, 'erased');
    await trx.updateTable('job').set({ words: without }).where('id', '=', id).execute();
  }
}

async function noteErasure(
  trx: Transaction<Tables>,
  playerId: string,
  clubId: string | null,
  { kind, atS }: ErasureNotice,
): Promise<void> {
  const told = { kind, at_s: atS, into_player_id: null };
  // One who was joined with this player is as little to come back.
  await trx.updateTable('player_notice').set(told).where('into_player_id', '=', playerId).execute();
  if (clubId !== null) {
    await trx
      .insertInto('player_notice')
      .values({ id: playerMark(playerId), club_id: clubId, ...told })
      .onConflict((conflict) => conflict.columns(['club_id', 'id']).doUpdateSet(told))
      .execute();
  }
  for (const table of ['change_log', 'hub_seen', 'hub_parked'] as const) {
    await trx.deleteFrom(table).where('entity_id', '=', playerId).execute();
  }
}

async function eraseName(trx: Transaction<Tables>, pseudonym: string): Promise<void> {
  for (const table of ['edit', 'time_correction', 'analysis_run', 'job'] as const) {
    await trx.updateTable(table).set({ by_name: erasedName }).where('by_name', '=', pseudonym).execute();
  }
  const word = nameInTexts(pseudonym);
  if (word === null) return;
  const pattern = likePattern(pseudonym);
  for (const [table, columns] of Object.entries(freeTexts)) {
    for (const column of columns) {
      const rows = await sql<{ id: string; words: string }>`
        select id, ${sql.ref(column)} as words from ${sql.table(table)}
        where lower(${sql.ref(column)}) like ${pattern} escape '\\'`.execute(trx);
      for (const { id, words } of rows.rows) {
        const without = words.replace(word, erasedName);
        await sql`update ${sql.table(table)} set ${sql.ref(column)} = ${without} where id = ${id}`.execute(trx);
      }
    }
  }
  await forgetEditsWith(trx, JSON.stringify(pseudonym).slice(1, -1), word);
}

/** @param word narrows down what the database's plain search finds; null takes all of it. */
async function forgetEditsWith(trx: Transaction<Tables>, text: string, word: RegExp | null): Promise<void> {
  const pattern = likePattern(text);
  const found = await trx
    .selectFrom('edit')
    .select(['id', 'action', 'before_row', 'after_row'])
    .where(
      sql<boolean>`(lower(action) like ${pattern} escape '\\' or lower(before_row) like ${pattern} escape '\\' or lower(after_row) like ${pattern} escape '\\')`,
    )
    .execute();
  for (const { id, action, before_row, after_row } of found) {
    const texts = [action, before_row ?? '', after_row ?? ''];
    // A search with the flag for all places remembers where it stopped.
    if (word !== null && !texts.some((each) => each.search(word) >= 0)) continue;
    await trx.deleteFrom('edit').where('id', '=', id).execute();
  }
}

/** SQLite lowers the letters of ASCII alone; others may be any, and are looked at afterwards. */
function likePattern(text: string): string {
  const escaped = text.toLowerCase().replace(/[\\%_]/g, '\\$&');
  return `%${escaped.replace(/[^ -~]/gu, '_')}%`;
}

/** @returns what finds a name in a text, as words of its own ("Player 1" is not meant by "Player 12"); null for one too short to be told from other words. */
export function nameInTexts(pseudonym: string): RegExp | null {
  if (pseudonym.length < shortestInTexts) return null;
  const escaped = pseudonym.replace(/[.*+?^${}()|[\]\\]/g, '\\$&');
  return new RegExp(`(?<![\\p{L}\\p{N}])${escaped}(?![\\p{L}\\p{N}])`, 'giu');
}
