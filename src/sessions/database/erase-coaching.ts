import type { Transaction } from 'kysely';
import type { Tables } from './tables.ts';

/**
 * Deletes what coaching keeps of a player, with the memory of it in the log of changes: targets, best sets, prescriptions with their
 * blocks, load, sets of studies; out of the plans of studies the player's id.
 *
 * @param setIds sets of the player, which are deleted after this.
 */
export async function eraseCoachingRows(
  trx: Transaction<Tables>,
  playerId: string,
  setIds: readonly string[],
): Promise<void> {
  const gone: {
    readonly table: 'player_target' | 'load_entry' | 'best_set' | 'proof_block' | 'study_set';
    id: string;
  }[] = [];
  for (const table of ['player_target', 'load_entry', 'best_set'] as const) {
    const rows = await trx.selectFrom(table).select('id').where('player_id', '=', playerId).execute();
    gone.push(...rows.map(({ id }) => ({ table, id })));
  }
  for (const setId of setIds) {
    for (const table of ['best_set', 'proof_block', 'study_set'] as const) {
      const rows = await trx.selectFrom(table).select('id').where('set_id', '=', setId).execute();
      gone.push(...rows.map(({ id }) => ({ table, id })));
    }
  }
  const prescriptions = await trx.selectFrom('prescription').select('id').where('player_id', '=', playerId).execute();
  for (const { id } of prescriptions) {
    const rows = await trx.selectFrom('proof_block').select('id').where('prescription_id', '=', id).execute();
    gone.push(...rows.map((row) => ({ table: 'proof_block' as const, id: row.id })));
  }
  for (const { table, id } of gone) {
    await trx.deleteFrom(table).where('id', '=', id).execute();
    await trx.deleteFrom('edit').where('row_id', '=', id).execute();
  }
  for (const { id } of prescriptions) {
    await trx.deleteFrom('prescription').where('id', '=', id).execute();
    await trx.deleteFrom('edit').where('row_id', '=', id).execute();
  }
  const studies = await trx.selectFrom('study').select(['id', 'design']).execute();
  for (const { id, design } of studies) {
    if (!design.includes(playerId)) continue;
    await trx
      .updateTable('study')
      .set({ design: design.replaceAll(playerId, 'erased') })
      .where('id', '=', id)
      .execute();
    await trx.deleteFrom('edit').where('row_id', '=', id).execute();
  }
}
