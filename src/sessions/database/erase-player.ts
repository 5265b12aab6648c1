import type { Transaction } from 'kysely';
import type { CutSpan } from '../recording/cut-recording.ts';
import type { StoreContext } from './store-context.ts';
import type { Tables } from './tables.ts';

/** What of a player lies in recordings and has to be cut out of them. */
export interface RecordedTraces {
  readonly recording: string;
  /** True when nobody else is in it: then the whole file goes. */
  readonly isAllOfIt: boolean;
  readonly spans: readonly CutSpan[];
}

/** Before a release and after it, s: from the gather to where the ball has come to rest. */
const beforeS = 15;
const afterS = 10;

/** @returns where a player's shots lie in recordings. */
export async function recordedTraces({ db, clubId }: StoreContext, playerId: string): Promise<RecordedTraces[]> {
  const shots = await db
    .selectFrom('shot')
    .innerJoin('session', 'session.id', 'shot.session_id')
    .select(['shot.sensor_id', 'shot.at_s', 'shot.player_id', 'session.id as session_id', 'session.recording'])
    .where('shot.club_id', '=', clubId)
    .where('session.recording', 'is not', null)
    .where('session.id', 'in', (eb) =>
      eb.selectFrom('shot').select('session_id').where('player_id', '=', playerId).distinct(),
    )
    .execute();
  const bySession = new Map<string, typeof shots>();
  for (const shot of shots) bySession.set(shot.session_id, [...(bySession.get(shot.session_id) ?? []), shot]);
  return [...bySession.values()].map((members) => ({
    recording: members[0]?.recording ?? '',
    isAllOfIt: members.every(({ player_id }) => player_id === playerId),
    spans: members.flatMap(({ player_id, sensor_id, at_s }) =>
      player_id === playerId && sensor_id !== null
        ? [{ sensorId: sensor_id, fromS: at_s - beforeS, untilS: at_s + afterS }]
        : [],
    ),
  }));
}

/** Deletes every row of a player and every memory of one in the log of changes. */
export async function erasePlayerRows(trx: Transaction<Tables>, playerId: string): Promise<void> {
  const shots = await trx.selectFrom('shot').select('id').where('player_id', '=', playerId).execute();
  const sets = await trx.selectFrom('shot_set').select('id').where('player_id', '=', playerId).execute();
  const consents = await trx.selectFrom('consent').select('id').where('player_id', '=', playerId).execute();
  for (const { id } of shots) {
    await trx.deleteFrom('shot_result').where('shot_id', '=', id).execute();
    await trx.deleteFrom('shot').where('id', '=', id).execute();
    await trx.deleteFrom('edit').where('row_id', '=', id).execute();
  }
  for (const { id } of sets) {
    const factors = await trx.selectFrom('set_factor').select('id').where('set_id', '=', id).execute();
    for (const factor of factors) await trx.deleteFrom('edit').where('row_id', '=', factor.id).execute();
    await trx.deleteFrom('set_factor').where('set_id', '=', id).execute();
    // Shots of others in that set stay, without it.
    await trx.updateTable('shot').set({ set_id: null }).where('set_id', '=', id).execute();
    await trx.deleteFrom('shot_set').where('id', '=', id).execute();
    await trx.deleteFrom('edit').where('row_id', '=', id).execute();
  }
  for (const { id } of consents) await trx.deleteFrom('edit').where('row_id', '=', id).execute();
  await trx.deleteFrom('consent').where('player_id', '=', playerId).execute();
  await trx.updateTable('sensor').set({ owner_player_id: null }).where('owner_player_id', '=', playerId).execute();
  await trx.deleteFrom('player').where('id', '=', playerId).execute();
  // A row of another that once named the player: a shot given to somebody else since, a sensor owned before.
  await trx
    .deleteFrom('edit')
    .where((eb) =>
      eb.or([
        eb('row_id', '=', playerId),
        eb('before_row', 'like', `%${playerId}%`),
        eb('after_row', 'like', `%${playerId}%`),
      ]),
    )
    .execute();
}
