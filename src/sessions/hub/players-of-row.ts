import type { HandedRow, HandedTable } from './handed-tables.ts';
import { playersOfDesign } from './peoples-rows.ts';
import type { Reading } from './read-documents.ts';

type AnyRow = Readonly<Record<string, unknown>>;

/**
 * Players that a row is of, where it does not name them itself: by the set, the prescription, the study or the round that it belongs to. What
 * several players are in is handed over when all of them agreed.
 *
 * @returns their ids; null stands for nobody.
 */
export async function playersOfRow(reading: Reading, table: string, row: AnyRow): Promise<readonly unknown[]> {
  const ofSet = async () => [(await lastKnown(reading, 'shot_set', row.set_id))?.player_id];
  const ofStudy = (study: AnyRow | null) => (study === null ? [] : playersOfDesign(study.design));
  if (table === 'best_set') return ofSet();
  if (table === 'proof_block') {
    const prescription = await lastKnown(reading, 'prescription', row.prescription_id);
    return [prescription?.player_id, ...(await ofSet())];
  }
  if (table === 'study') return ofStudy(row);
  if (table === 'study_set') {
    return [...ofStudy(await lastKnown(reading, 'study', row.study_id)), ...(await ofSet())];
  }
  if (table === 'rotation') return playersOfRound(reading, row.id);
  if (table === 'rotation_player') return playersOfRound(reading, row.rotation_id);
  return [];
}

async function playersOfRound({ db, clubId }: Reading, rotationId: unknown): Promise<readonly string[]> {
  const players = db.selectFrom('rotation_player').select('player_id').where('rotation_id', '=', String(rotationId));
  return (await players.where('club_id', '=', clubId).execute()).map(({ player_id }) => player_id);
}

/** @returns the row as it is, or as it was when it was taken away. */
async function lastKnown({ db, clubId }: Reading, table: HandedTable, id: unknown): Promise<AnyRow | null> {
  const row = await db
    .selectFrom(table as 'player')
    .selectAll()
    .where('id', '=', String(id))
    .where('club_id', '=', clubId)
    .executeTakeFirst();
  if (row) return row as unknown as HandedRow;
  const edits = db.selectFrom('edit').select(['before_row', 'after_row']).where('row_id', '=', String(id));
  const last = await edits
    .where('club_id', '=', clubId)
    .orderBy('at_s', 'desc')
    .orderBy('id', 'desc')
    .executeTakeFirst();
  const text = last?.before_row ?? last?.after_row ?? null;
  return text === null ? null : (JSON.parse(text) as AnyRow);
}
