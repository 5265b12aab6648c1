import { handedToCourts } from '../database/hub-tables.ts';
import { type HandedRow, type HandedTable, handedNeeds, handedRow, isSameRow } from './handed-tables.ts';
import { byTime, type RowEdit } from './laid-over.ts';
import { editsOf, isUniqueTaken } from './row-edits.ts';
import { hasRow, insertRow, removeRows, rowOf, type TakenState, type Taking, writeRow } from './taken-rows.ts';

/** Tables of which people write every row and every change, so that the log of changes tells what stands. */
const peoplesTables: ReadonlySet<string> = new Set<HandedTable>([
  ...(['player_target', 'best_set', 'own_drill', 'prescription', 'proof_block', 'load_entry'] as const),
  ...(['study', 'study_set', 'rotation', 'rotation_player', 'sensor_calibration'] as const),
]);

/** What the program counts on in them is as the court has it on which it counts. */
const counted: Readonly<Partial<Record<HandedTable, readonly string[]>>> = { rotation: ['turn', 'shots_in_turn'] };

/** Of a player who was joined with another, whose own stands. */
const ownOfPlayer: ReadonlySet<string> = new Set<HandedTable>(['player_target', 'best_set', 'load_entry']);

/** What may hang on a row, which is not taken away then. */
const users: Readonly<Partial<Record<HandedTable, readonly [table: HandedTable, column: string]>>> = {
  prescription: ['proof_block', 'prescription_id'],
  study: ['study_set', 'study_id'],
  rotation: ['rotation_player', 'rotation_id'],
};

export function isPeoples(table: string): boolean {
  return peoplesTables.has(table);
}

/**
 * Goes through what people did with a row, by time and then by id: adding it, changing columns, taking it away, adding it again. Whatever
 * came in which order, the same stands.
 *
 * @param base the row as somebody else has it, for what no change tells.
 * @returns the row as it is to be, or null where it is not to be.
 */
function standsAs(table: HandedTable, base: HandedRow | null, edits: readonly RowEdit[]): HandedRow | null {
  let row = base;
  for (const { before_row, after_row } of [...edits].sort(byTime)) {
    if (after_row === null) {
      row = null;
      continue;
    }
    const after = handedRow(table, JSON.parse(after_row) as Record<string, unknown>);
    if (before_row === null || row === null) {
      row = after;
      continue;
    }
    const before = handedRow(table, JSON.parse(before_row) as Record<string, unknown>);
    const changed = Object.keys(after).filter((name) => after[name] !== before[name]);
    row = { ...row, ...Object.fromEntries(changed.map((name) => [name, after[name] ?? null])) };
  }
  if (row === null || base === null) return row;
  return { ...row, ...Object.fromEntries((counted[table] ?? []).map((name) => [name, base[name] ?? null])) };
}

/** Takes a row as another database has it, with what people are known to have done with it. */
export async function takePeoplesRow(taking: Taking, table: HandedTable, given: HandedRow): Promise<TakenState> {
  const id = String(given.id);
  // The hub may know less of a row: it forgets players who withdrew from it, whom their court keeps.
  const base = (taking.isCourt ? await rowOf(taking, table, id) : null) ?? given;
  return put(taking, table, id, standsAs(table, base, await editsOf(taking, id)));
}

/** Lays what people are known to have done over a row that is here, or is to be. */
export async function layPeoplesEdits(taking: Taking, table: HandedTable, id: string): Promise<void> {
  await put(taking, table, id, standsAs(table, await rowOf(taking, table, id), await editsOf(taking, id)));
}

/**
 * Lets a row go that is gone on a court, unless somebody is known to have put it there again. A court lets none go because its hub has it
 * no longer: the hub forgets players who withdrew from it, and courts keep theirs.
 */
export async function letPeoplesRowGo(taking: Taking, table: HandedTable, id: string): Promise<void> {
  // A calibration that one court has no more was still made.
  if (taking.isCourt || table === 'sensor_calibration') return;
  if (standsAs(table, null, await editsOf(taking, id)) === null) await put(taking, table, id, null);
}

async function put(taking: Taking, table: HandedTable, id: string, wanted: HandedRow | null): Promise<TakenState> {
  const here = await rowOf(taking, table, id);
  const row = wanted && (await asHere(taking, table, wanted));
  if (row === null) {
    if (here !== null) await remove(taking, table, id, here);
    return wanted === null ? 'taken' : 'barred';
  }
  for (const [column, needed] of Object.entries(handedNeeds[table] ?? {})) {
    const other = row[column];
    if (typeof other !== 'string' || (await hasRow(taking, needed as HandedTable, other))) continue;
    if (await isBroughtBack(taking, needed as HandedTable, other)) continue;
    // Sets and sessions stay on the court where they were shot, and so does what is of them.
    return taking.isCourt && !handedToCourts.includes(needed) ? 'taken' : 'waits';
  }
  if (here !== null) {
    if (!isSameRow(row, here)) await writeRow(taking, table, row);
    return 'taken';
  }
  const last = [...(await editsOf(taking, id))].sort(byTime).at(-1);
  if (!(await isUniqueTaken(taking, table, row, last))) await insertRow(taking, table, row);
  return 'taken';
}

/**
 * Somebody took away what somebody else, who had not heard of it, went on to use: it stands. The hub decides it for all and notes that as a
 * change, which goes to every court as any other.
 *
 * @returns the row as it stands now, or null where nobody took it away, or this is a court.
 */
async function keepUsed(taking: Taking, table: HandedTable, id: string): Promise<HandedRow | null> {
  const { clubId, makeId, nowS } = taking;
  const edits = [...(await editsOf(taking, id))].sort(byTime);
  const last = edits.at(-1);
  if (taking.isCourt || last === undefined || last.after_row !== null) return null;
  const kept = edits.filter(({ after_row }) => after_row !== null);
  const removed = last.before_row && handedRow(table, JSON.parse(last.before_row) as Record<string, unknown>);
  const row = standsAs(table, null, kept) ?? (removed || null);
  if (row === null) return null;
  const editId = makeId();
  await insertRow(taking, 'edit', {
    ...{ id: editId, at_s: Math.max(nowS(), last.at_s + 0.001), by_role: 'host', by_name: 'hub', group_id: editId },
    ...{ action: 'keep what is used', table_name: table, row_id: id, before_row: null, undone_by: null },
    after_row: JSON.stringify({ ...row, club_id: clubId }),
  });
  return row;
}

/** @returns whether it is there again: it had been taken away, and something that is of it has come. */
async function isBroughtBack(taking: Taking, table: HandedTable, id: string): Promise<boolean> {
  if (!(table in users)) return false;
  if ((await keepUsed(taking, table, id)) === null) return false;
  await layPeoplesEdits(taking, table, id);
  return hasRow(taking, table, id);
}

/** What is still used stays, and goes with the last that uses it where it was to go before. */
async function remove(taking: Taking, table: HandedTable, id: string, here: HandedRow): Promise<void> {
  if (await isUsed(taking, table, id)) {
    await keepUsed(taking, table, id);
    return;
  }
  await removeRows(taking, table, 'id', id);
  for (const [used, [user, column]] of Object.entries(users) as [HandedTable, readonly [HandedTable, string]][]) {
    if (user !== table) continue;
    const edits = await editsOf(taking, String(here[column]));
    if (edits.length > 0 && standsAs(used, null, edits) === null) {
      await put(taking, used, String(here[column]), null);
    }
  }
}

async function isUsed({ trx, clubId }: Taking, table: HandedTable, id: string): Promise<boolean> {
  const [user, column] = users[table] ?? [];
  if (user === undefined || column === undefined) return false;
  const rows = trx
    .selectFrom(user as 'player')
    .select('id')
    .where(column as 'id', '=', id);
  return (await rows.where('club_id', '=', clubId).executeTakeFirst()) !== undefined;
}

/** @returns the row with players as they are here, or null where it is of one of whom nothing may be kept. */
async function asHere(taking: Taking, table: HandedTable, row: HandedRow): Promise<HandedRow | null> {
  if (table === 'study') return { ...row, design: await designHere(taking, String(row.design)) };
  if (typeof row.player_id !== 'string') return row;
  const notice = await taking.noticeOf(row.player_id);
  if (notice === null) return row;
  if (notice.kind !== 'joined' || ownOfPlayer.has(table)) return null;
  return { ...row, player_id: notice.into_player_id };
}

/** @returns a study's plan with players as they are here. */
export async function designHere(taking: Taking, design: string): Promise<string> {
  let here = design;
  for (const playerId of playersOfDesign(design)) {
    const notice = await taking.noticeOf(playerId);
    if (notice) here = here.replaceAll(playerId, notice.into_player_id ?? 'erased');
  }
  return here;
}

/** @returns players of a study's plan. */
export function playersOfDesign(design: unknown): readonly string[] {
  const { playerIds } = JSON.parse(String(design)) as { readonly playerIds?: readonly string[] };
  return playerIds ?? [];
}
