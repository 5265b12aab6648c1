import type { Transaction } from 'kysely';
import type { PlayerNoticeTable } from '../database/hub-tables.ts';
import type { Tables } from '../database/tables.ts';
import { type HandedRow, type HandedTable, handedRow } from './handed-tables.ts';

/**
 * What came of a document: `taken`, also where it said nothing new; `older` than what has come of it before; `waits` for something
 * that has to be there first; `barred`, since the player it is of was erased or withdrew.
 */
export type TakenState = 'taken' | 'older' | 'waits' | 'barred';

/** What taking of documents works with. */
export interface Taking {
  readonly trx: Transaction<Tables>;
  readonly clubId: string;
  /** Where the documents come from: a court, or for a court the hub. */
  readonly from: { readonly id: string; readonly name: string };
  /** Whether this is a court, which is told by its hub. */
  readonly isCourt: boolean;
  readonly nowS: () => number;
  readonly makeId: () => string;
  /** @returns what became of a player, or null. */
  noticeOf(playerId: string): Promise<PlayerNoticeTable | null>;
  forgetNotice(playerId: string): void;
  /** Takes over an erasure that is more than of rows; absent where there is no more. @returns whether it did. */
  readonly eraseLater?: (playerId: string) => boolean;
}

/** Tables that are written here, whether they are handed over or hang on those that are. */
type TakenTable = HandedTable | 'analysis_run' | 'best_set' | 'proof_block' | 'study_set';

export async function rowOf({ trx, clubId }: Taking, table: HandedTable, id: string): Promise<HandedRow | null> {
  const row = await trx
    .selectFrom(table as 'player')
    .selectAll()
    .where('id', '=', id)
    .where('club_id', '=', clubId)
    .executeTakeFirst();
  return row ? handedRow(table, { ...row }) : null;
}

export async function hasRow({ trx, clubId }: Taking, table: HandedTable, id: string): Promise<boolean> {
  const rows = trx
    .selectFrom(table as 'player')
    .select('id')
    .where('id', '=', id)
    .where('club_id', '=', clubId);
  return (await rows.executeTakeFirst()) !== undefined;
}

export async function insertRow({ trx, clubId }: Taking, table: HandedTable, row: HandedRow): Promise<void> {
  await trx
    .insertInto(table as 'player')
    .values({ ...row, club_id: clubId } as never)
    .execute();
}

export async function writeRow({ trx, clubId }: Taking, table: HandedTable, row: HandedRow): Promise<void> {
  const { id, ...columns } = row;
  await trx
    .updateTable(table as 'player')
    .set(columns as never)
    .where('id', '=', String(id))
    .where('club_id', '=', clubId)
    .execute();
}

export async function removeRows(
  { trx, clubId }: Taking,
  table: TakenTable,
  column: string,
  id: string,
): Promise<void> {
  await trx
    .deleteFrom(table as 'player')
    .where(column as 'id', '=', id)
    .where('club_id', '=', clubId)
    .execute();
}
