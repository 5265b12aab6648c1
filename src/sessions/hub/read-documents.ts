import { sql } from 'kysely';
import type { ChangeLogTable, HandedEntity } from '../database/hub-tables.ts';
import type { Connection, StoreContext } from '../database/store-context.ts';
import {
  type HandedDocument,
  type HandedRow,
  type HandedTable,
  handedNeeds,
  handedParts,
  handedRow,
} from './handed-tables.ts';
import { playersOfRow } from './players-of-row.ts';

/** A thing under the number of its last change. */
export type ChangePlace = Pick<ChangeLogTable, 'entity' | 'entity_id' | 'seq'>;

/** Tables whose changes are told; those of others stay where they were made. */
const editedTables: ReadonlySet<string> = new Set([
  ...['player', 'consent', 'sensor', 'session', 'shot_set', 'set_factor', 'shot', 'time_correction', 'mark'],
  ...['player_target', 'best_set', 'own_drill', 'prescription', 'proof_block', 'load_entry', 'study', 'study_set'],
  ...['rotation', 'rotation_player'],
]);

export interface Reading {
  readonly db: Connection;
  readonly clubId: string;
  /** Players that may be told of; null for all. */
  readonly agreed: ReadonlySet<string> | null;
}

/** @returns players who agreed to being handed over and did not withdraw it. */
export async function agreedToUpload({
  db,
  clubId,
}: Pick<StoreContext, 'db' | 'clubId'>): Promise<ReadonlySet<string>> {
  const rows = await db
    .selectFrom('consent')
    .select('player_id')
    .where('scope', '=', 'upload')
    .where('withdrawn_s', 'is', null)
    .where('club_id', '=', clubId)
    .execute();
  return new Set(rows.map(({ player_id }) => player_id));
}

/** @returns things that were changed after a number, in the order of their last changes. */
export async function changedAfter(
  { db, clubId }: Pick<StoreContext, 'db' | 'clubId'>,
  seq: number,
  limit: number,
  entities?: readonly HandedEntity[],
): Promise<ChangePlace[]> {
  let query = db.selectFrom('change_log').select(['entity', 'entity_id', 'seq']).where('club_id', '=', clubId);
  // As they stand in the index for courts, which a parameter would not match.
  if (entities)
    query = query.where(
      'entity',
      'in',
      entities.map((entity) => sql.lit(entity)),
    );
  const rows = await query.where('seq', '>', seq).orderBy('seq').limit(limit).execute();
  return rows.map((row) => ({ ...row, seq: Number(row.seq) }));
}

/** @returns the thing as it stands now; without a row where it is gone or is not to be told of. */
export async function readDocument(
  reading: Reading,
  { entity, entity_id: id, seq }: ChangePlace,
): Promise<HandedDocument> {
  const found = await rowOf(reading, entity, id);
  const row = found && (await told(reading, entity, found));
  if (row === null) {
    const withheldS = entity === 'player' ? await withdrawnS(reading, id) : null;
    return { entity, id, seq, row: null, parts: {}, ...(withheldS !== null && { withheldS }) };
  }
  const parts: Partial<Record<HandedTable, HandedRow[]>> = {};
  for (const [table, column] of Object.entries(handedParts[entity] ?? {}) as [HandedTable, string][]) {
    const rows = await rowsOf(reading, table, column, id);
    parts[table] = rows
      .map((each) => handedRow(table, each))
      .map((each) => (table === 'edit' ? withoutClub(each) : each));
  }
  return { entity, id, seq, row, parts };
}

/** @returns what has to be there before the document can be taken: of a change of a row, what the row then refers to. */
export function needsOf({ entity, row }: HandedDocument): { readonly entity: HandedEntity; readonly id: string }[] {
  if (row === null) return [];
  const isEdit = entity === 'edit';
  const table = (isEdit ? row.table_name : entity) as HandedTable;
  const referring: Readonly<Record<string, unknown>> | null = isEdit
    ? JSON.parse(String(row.after_row ?? 'null'))
    : row;
  if (referring === null) return [];
  return Object.entries(handedNeeds[table] ?? {}).flatMap(([column, needed]) => {
    const id = referring[column];
    return typeof id === 'string' ? [{ entity: needed, id }] : [];
  });
}

/** @returns the row as it is told, or null where it must not be. */
async function told(reading: Reading, entity: HandedEntity, found: HandedRow): Promise<HandedRow | null> {
  const { agreed } = reading;
  if (entity === 'edit') return toldEdit(reading, found);
  if (agreed === null) return found;
  if (entity === 'player') return agreed.has(String(found.id)) ? found : null;
  if (entity === 'sensor') {
    return isAgreed(agreed, found.owner_player_id) ? found : { ...found, owner_player_id: null };
  }
  if (!isAgreed(agreed, found.player_id)) return null;
  if (!(await playersOfRow(reading, entity, found)).every((player) => isAgreed(agreed, player))) return null;
  if (entity !== 'shot' || typeof found.set_id !== 'string') return found;
  const set = await rowOf(reading, 'shot_set', found.set_id);
  return set && isAgreed(agreed, set.player_id) ? found : { ...found, set_id: null };
}

/** A change that names a player who did not agree is not told, nor one of what is not handed over. */
async function toldEdit(reading: Reading, found: HandedRow): Promise<HandedRow | null> {
  const { agreed } = reading;
  if (!editedTables.has(String(found.table_name))) return null;
  const rows = [found.before_row, found.after_row].flatMap((text) =>
    typeof text === 'string' ? [JSON.parse(text) as Readonly<Record<string, unknown>>] : [],
  );
  const players: unknown[] = rows.flatMap(({ player_id, owner_player_id }) => [player_id, owner_player_id]);
  if (found.table_name === 'player') players.push(found.row_id);
  if (agreed !== null) {
    for (const row of rows) players.push(...(await playersOfRow(reading, String(found.table_name), row)));
  }
  if (agreed !== null && !players.every((player) => isAgreed(agreed, player))) return null;
  // A player's own device may be called by the player's name.
  return withoutClub(agreed !== null && found.by_role === 'player' ? { ...found, by_name: '' } : found);
}

function isAgreed(agreed: ReadonlySet<string>, playerId: unknown): boolean {
  return typeof playerId !== 'string' || agreed.has(playerId);
}

/** The rows in an entry of the log are without their club too. */
function withoutClub(edit: HandedRow): HandedRow {
  const without = (text: unknown) => {
    if (typeof text !== 'string') return null;
    const { club_id: _, ...row } = JSON.parse(text) as Record<string, unknown>;
    return JSON.stringify(row);
  };
  return { ...edit, before_row: without(edit.before_row), after_row: without(edit.after_row) };
}

async function withdrawnS({ db, clubId }: Reading, playerId: string): Promise<number | null> {
  const row = await db
    .selectFrom('consent')
    .select(({ fn }) => fn.max('withdrawn_s').as('at_s'))
    .where('player_id', '=', playerId)
    .where('scope', '=', 'upload')
    .where('club_id', '=', clubId)
    .executeTakeFirst();
  return row?.at_s ?? null;
}

async function rowOf(reading: Reading, table: HandedTable, id: string): Promise<HandedRow | null> {
  const [row] = await rowsOf(reading, table, 'id', id);
  return row ? handedRow(table, row) : null;
}

async function rowsOf(
  { db, clubId }: Reading,
  table: HandedTable,
  column: string,
  id: string,
): Promise<Readonly<Record<string, unknown>>[]> {
  return db
    .selectFrom(table as 'player')
    .selectAll()
    .where(column as 'id', '=', id)
    .where('club_id', '=', clubId)
    .orderBy('id')
    .execute();
}
