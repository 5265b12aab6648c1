import type { HandedRow, HandedTable } from './handed-tables.ts';
import { lastEdit, type RowEdit } from './laid-over.ts';
import { removeRows, type Taking } from './taken-rows.ts';

/** Of these there is one of each kind: what people set last stands. */
const oneOfEach: Readonly<Partial<Record<HandedTable, readonly string[]>>> = {
  set_factor: ['set_id', 'factor'],
  time_correction: ['shot_id', 'phase'],
  player_target: ['player_id', 'measure'],
  load_entry: ['player_id', 'date'],
  best_set: ['player_id', 'set_id'],
  proof_block: ['set_id'],
  study_set: ['set_id'],
};

/** @returns the changes of a row, oldest first. */
export async function editsOf({ trx, clubId }: Taking, rowId: string): Promise<RowEdit[]> {
  return trx
    .selectFrom('edit')
    .select(['id', 'at_s', 'before_row', 'after_row'])
    .where('row_id', '=', rowId)
    .where('club_id', '=', clubId)
    .orderBy('at_s')
    .orderBy('id')
    .execute();
}

/**
 * Of two rows that say different things of the same, made on two courts, the later stands; the other is let go. Both stay in the log.
 *
 * @returns whether the other one stands.
 */
export async function isUniqueTaken(
  taking: Taking,
  table: HandedTable,
  row: HandedRow,
  last: RowEdit | undefined,
): Promise<boolean> {
  const columns = oneOfEach[table];
  if (columns === undefined) return false;
  const { trx, clubId } = taking;
  let query = trx
    .selectFrom(table as 'player')
    .select('id')
    .where('club_id', '=', clubId)
    .where('id', '!=', String(row.id));
  for (const column of columns) query = query.where(column as 'id', '=', String(row[column]));
  const other = await query.executeTakeFirst();
  if (!other) return false;
  const otherLast = lastEdit(await editsOf(taking, other.id));
  const isLater =
    last !== undefined &&
    (otherLast === undefined || last.at_s > otherLast.at_s || (last.at_s === otherLast.at_s && last.id > otherLast.id));
  if (!isLater) return true;
  await removeRows(taking, table, 'id', other.id);
  return false;
}
