import type { Taking } from './taken-rows.ts';

/** Everything of one player becomes the other's; the one is no more. */
export async function joinPlayers(
  { trx, clubId }: Pick<Taking, 'trx' | 'clubId'>,
  fromId: string,
  intoId: string,
): Promise<void> {
  for (const table of ['shot', 'shot_set', 'prescription', 'rotation_player'] as const) {
    await trx
      .updateTable(table)
      .set({ player_id: intoId })
      .where('player_id', '=', fromId)
      .where('club_id', '=', clubId)
      .execute();
  }
  await trx
    .updateTable('sensor')
    .set({ owner_player_id: intoId })
    .where('owner_player_id', '=', fromId)
    .where('club_id', '=', clubId)
    .execute();
  // Of what there is one of each player, the other's own stands.
  for (const table of ['player_target', 'load_entry', 'best_set', 'consent'] as const) {
    await trx.deleteFrom(table).where('player_id', '=', fromId).where('club_id', '=', clubId).execute();
  }
  const studies = trx.selectFrom('study').select(['id', 'design']).where('club_id', '=', clubId);
  for (const { id, design } of await studies.execute()) {
    if (!design.includes(fromId)) continue;
    const joined = trx.updateTable('study').set({ design: design.replaceAll(fromId, intoId) });
    await joined.where('id', '=', id).where('club_id', '=', clubId).execute();
  }
  await trx.deleteFrom('player').where('id', '=', fromId).where('club_id', '=', clubId).execute();
}
