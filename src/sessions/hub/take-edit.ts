import { type HandedRow, type HandedTable, handedColumns, handedNeeds, handedRow, isSameRow } from './handed-tables.ts';
import { laidOver, lastEdit } from './laid-over.ts';
import { designHere, isPeoples, layPeoplesEdits } from './peoples-rows.ts';
import { editsOf, isUniqueTaken } from './row-edits.ts';
import { hasRow, insertRow, removeRows, rowOf, type TakenState, type Taking, writeRow } from './taken-rows.ts';

/** Tables whose rows a person adds and takes away one by one. */
const addedByPeople: ReadonlySet<string> = new Set(['shot_set', 'set_factor', 'time_correction', 'mark', 'consent']);

/** Takes an entry of the log of changes into the log, and lays it over its row where that is here. */
export async function takeEdit(taking: Taking, given: HandedRow): Promise<TakenState> {
  const edit = await asHere(taking, handedRow('edit', given));
  if (edit === null) return 'barred';
  const known = await rowOf(taking, 'edit', String(edit.id));
  if (known !== null) {
    // Of an entry that is known only that it was undone can be news.
    const { undone_by = null } = edit;
    if (known.undone_by === null && undone_by !== null) await writeRow(taking, 'edit', { ...known, undone_by });
    return 'taken';
  }
  await insertRow(taking, 'edit', edit);
  const table = String(edit.table_name);
  if (!(table in handedColumns)) return 'taken';
  if (isPeoples(table)) await layPeoplesEdits(taking, table as HandedTable, String(edit.row_id));
  else await layOver(taking, table as HandedTable, String(edit.row_id));
  return 'taken';
}

async function layOver(taking: Taking, table: HandedTable, rowId: string): Promise<void> {
  const edits = await editsOf(taking, rowId);
  const here = await rowOf(taking, table, rowId);
  const last = lastEdit(edits);
  if (here === null) {
    if (!addedByPeople.has(table) || typeof last?.after_row !== 'string') return;
    const row = laidOver(handedRow(table, JSON.parse(last.after_row)), edits);
    for (const [column, needed] of Object.entries(handedNeeds[table] ?? {})) {
      const other = row[column];
      if (typeof other === 'string' && !(await hasRow(taking, needed as HandedTable, other))) return;
    }
    if (!(await isUniqueTaken(taking, table, row, last))) await insertRow(taking, table, row);
    return;
  }
  if (last?.after_row === null) {
    if (addedByPeople.has(table) && table !== 'shot_set') await removeRows(taking, table, 'id', rowId);
    return;
  }
  const row = await withoutLoose(taking, table, laidOver(here, edits), here);
  if (!isSameRow(row, here)) await writeRow(taking, table, row);
}

/**
 * What is not here, or not any more, cannot be referred to: the column stays as it is. Where the other thing comes later, the row itself
 * comes behind it, and the change is laid over it then.
 */
export async function withoutLoose(
  taking: Taking,
  table: HandedTable,
  row: HandedRow,
  here: HandedRow,
): Promise<HandedRow> {
  const kept: Record<string, string | number | null> = { ...row };
  for (const [column, needed] of Object.entries(handedNeeds[table] ?? {})) {
    const other = row[column];
    if (typeof other !== 'string' || other === here[column]) continue;
    if (!(await hasRow(taking, needed as HandedTable, other))) kept[column] = here[column] ?? null;
  }
  return kept;
}

/** @returns the entry with club and players as they are here, or null where it is of one of whom nothing may be kept. */
async function asHere(taking: Taking, edit: HandedRow): Promise<HandedRow | null> {
  const isPlayers = edit.table_name === 'player';
  if (isPlayers && (await taking.noticeOf(String(edit.row_id)))) return null;
  const texts: Record<string, string | null> = {};
  for (const name of ['before_row', 'after_row'] as const) {
    const text = edit[name];
    if (typeof text !== 'string') {
      texts[name] = null;
      continue;
    }
    const row = { ...(JSON.parse(text) as Record<string, unknown>), club_id: taking.clubId };
    for (const column of ['player_id', 'owner_player_id']) {
      const playerId = (row as Record<string, unknown>)[column];
      const notice = typeof playerId === 'string' ? await taking.noticeOf(playerId) : null;
      if (notice === null) continue;
      if (notice.kind !== 'joined') return null;
      (row as Record<string, unknown>)[column] = notice.into_player_id;
    }
    if (edit.table_name === 'study') {
      const { design } = row as Record<string, unknown>;
      (row as Record<string, unknown>).design = await designHere(taking, String(design));
    }
    texts[name] = JSON.stringify(row);
  }
  return { ...edit, ...texts };
}
