import { erasePlayerRows } from '../database/erase-player.ts';
import {
  type HandedDocument,
  type HandedRow,
  type HandedTable,
  handedNeeds,
  handedParts,
  handedRow,
  isSameRow,
} from './handed-tables.ts';
import { joinPlayers } from './join-players.ts';
import { laidOver } from './laid-over.ts';
import { isPeoples, letPeoplesRowGo, takePeoplesRow } from './peoples-rows.ts';
import { playerMark } from './player-mark.ts';
import { agreedToUpload } from './read-documents.ts';
import { editsOf, isUniqueTaken } from './row-edits.ts';
import { takeEdit, withoutLoose } from './take-edit.ts';
import { hasRow, insertRow, removeRows, rowOf, type TakenState, type Taking, writeRow } from './taken-rows.ts';

export interface TakenDocument {
  readonly state: TakenState;
  /** With `older`: number of what came before. */
  readonly seenSeq?: number;
}

/**
 * Takes a thing from another database of the club. Whatever comes in which order, and however often, the same stands here in the end:
 *
 * 1. An erased player, and one who withdrew, beats everything; one who was joined with another is the other.
 * 2. What a person changed beats what the program wrote, and what was changed later beats what was changed earlier; every change
 *    stays in the log of changes.
 * 3. What the program wrote is as the one court that it comes from has it, by the numbers that this court gives its changes.
 */
export async function takeDocument(taking: Taking, document: HandedDocument): Promise<TakenDocument> {
  const { entity, id, seq } = document;
  const seenSeq = await lastSeen(taking, document);
  if (seenSeq !== null && seenSeq >= seq) return { state: 'older', seenSeq };
  const state = await take(taking, document);
  if (state === 'waits') return { state };
  const { trx, clubId, from } = taking;
  if (state === 'barred' && entity === 'player') return { state };
  await trx
    .insertInto('hub_seen')
    .values({ club_id: clubId, court_id: from.id, entity, entity_id: id, seq })
    .onConflict((conflict) => conflict.columns(['club_id', 'entity', 'entity_id', 'court_id']).doUpdateSet({ seq }))
    .execute();
  return { state };
}

async function take(taking: Taking, document: HandedDocument): Promise<TakenState> {
  const { entity, row } = document;
  if (entity === 'player_notice') return takeNotice(taking, document);
  if (entity === 'edit') return row === null ? 'taken' : takeEdit(taking, row);
  if (row === null) return letGo(taking, document);
  return takeRow(taking, document, row);
}

async function lastSeen(
  { trx, clubId, from }: Taking,
  { entity, id }: Pick<HandedDocument, 'entity' | 'id'>,
): Promise<number | null> {
  const seen = await trx
    .selectFrom('hub_seen')
    .select('seq')
    .where('club_id', '=', clubId)
    .where('court_id', '=', from.id)
    .where('entity', '=', entity)
    .where('entity_id', '=', id)
    .executeTakeFirst();
  return seen ? Number(seen.seq) : null;
}

async function takeRow(taking: Taking, document: HandedDocument, given: HandedRow): Promise<TakenState> {
  const { entity, id, parts } = document;
  const table = entity as HandedTable;
  if (isPeoples(table)) return takePeoplesRow(taking, table, handedRow(table, given));
  if (entity === 'player' && (await isBarred(taking, document))) return 'barred';
  const base = await asHere(taking, handedRow(table, given));
  if (base === null) return 'barred';
  for (const [column, needed] of Object.entries(handedNeeds[table] ?? {})) {
    const other = base[column];
    if (typeof other === 'string' && !(await hasRow(taking, needed as HandedTable, other))) return 'waits';
  }
  if (entity === 'player') for (const edit of parts.edit ?? []) await takeEdit(taking, edit);
  const here = await rowOf(taking, table, id);
  const written = entity === 'sensor' && here ? seenLast(base, here) : base;
  const row = await withoutLoose(taking, table, laidOver(written, await editsOf(taking, id)), written);
  if (here === null) {
    const named = entity === 'player' ? await withFreeName(taking, row) : row;
    if (named === null) return 'waits';
    await insertRow(taking, table, named);
  } else if (!isSameRow(row, here)) await writeRow(taking, table, row);
  for (const part of Object.keys(handedParts[entity] ?? {}) as HandedTable[]) {
    if (part !== 'edit') await takePart(taking, part, id, parts[part] ?? []);
  }
  return 'taken';
}

/** What the program wrote of a thing comes and goes with it; what people added stays until somebody took it away. */
async function takePart(taking: Taking, table: HandedTable, id: string, given: readonly HandedRow[]): Promise<void> {
  let rows = given;
  if (table === 'shot_result') {
    const { trx, clubId } = taking;
    const own = await currentOfJobs(taking, id);
    const ids = [...rows.map((row) => String(row.id)), ...own.ids];
    let gone = trx.deleteFrom('shot_result').where('shot_id', '=', id).where('club_id', '=', clubId);
    if (ids.length > 0) gone = gone.where('id', 'not in', ids);
    await gone.execute();
    rows = await besideJobs(taking, rows, own);
  }
  for (const given of rows) {
    const base = handedRow(table, given);
    const here = await rowOf(taking, table, String(base.id));
    const edits = await editsOf(taking, String(base.id));
    if (edits.length > 0 && edits.at(-1)?.after_row === null) continue;
    const laid = laidOver(base, edits);
    const row = table === 'consent' ? withdrawnIfEither(laid, here) : laid;
    if (here !== null) {
      if (!isSameRow(row, here)) await writeRow(taking, table, row);
    } else if (!(await isUniqueTaken(taking, table, row, edits.at(-1)))) await insertRow(taking, table, row);
  }
}

/** Results that this hub itself made of a shot. */
interface JobResultsHere {
  readonly ids: readonly string[];
  /** The newest of them. */
  readonly newest: { readonly id: string; readonly createdS: number } | null;
}

async function currentOfJobs({ trx, clubId }: Taking, shotId: string): Promise<JobResultsHere> {
  const rows = await trx
    .selectFrom('job_result')
    .innerJoin('shot_result', 'shot_result.id', 'job_result.result_id')
    .select(['shot_result.id', 'shot_result.created_s'])
    .where('job_result.club_id', '=', clubId)
    .where('job_result.shot_id', '=', shotId)
    .where('shot_result.club_id', '=', clubId)
    .orderBy('shot_result.created_s', 'desc')
    .orderBy('shot_result.id', 'desc')
    .execute();
  const [first] = rows;
  return { ids: rows.map(({ id }) => id), newest: first ? { id: first.id, createdS: first.created_s } : null };
}

/**
 * Of a court's current result and that of the hub's own analysis the one that was made later is the current one here, whichever came first.
 *
 * @returns the court's rows as they are to stand, with room made for their current one.
 */
async function besideJobs(
  taking: Taking,
  rows: readonly HandedRow[],
  { ids, newest }: JobResultsHere,
): Promise<readonly HandedRow[]> {
  if (newest === null) return rows;
  const { trx, clubId } = taking;
  const theirs = rows.find((row) => row.is_current === 1);
  const isTheirs = theirs !== undefined && Number(theirs.created_s) > newest.createdS;
  const results = () => trx.updateTable('shot_result').where('club_id', '=', clubId);
  if (isTheirs)
    await results()
      .set({ is_current: 0 })
      .where('id', 'in', [...ids])
      .where('is_current', '=', 1)
      .execute();
  else {
    const others = rows.map((row) => String(row.id));
    await results().set({ is_current: 0 }).where('id', 'in', others).where('is_current', '=', 1).execute();
    await results().set({ is_current: 1 }).where('id', '=', newest.id).where('is_current', '=', 0).execute();
  }
  return isTheirs ? rows : rows.map((row) => ({ ...row, is_current: 0 }));
}

/** What was agreed to and withdrawn stays withdrawn, whoever has not heard of it. */
function withdrawnIfEither(row: HandedRow, here: HandedRow | null): HandedRow {
  const instants = [row.withdrawn_s, here?.withdrawn_s].filter((each) => typeof each === 'number');
  return { ...row, withdrawn_s: instants.length === 0 ? null : Math.min(...instants) };
}

/** A sensor that was on several courts is described as it was seen last. */
function seenLast(base: HandedRow, here: HandedRow): HandedRow {
  const later = Number(base.last_seen_s) >= Number(here.last_seen_s) ? base : here;
  return { ...later, first_seen_s: Math.min(Number(base.first_seen_s), Number(here.first_seen_s)) };
}

/** @returns the row with players as they are here, or null where it is of one of whom nothing may be kept. */
async function asHere(taking: Taking, row: HandedRow): Promise<HandedRow | null> {
  const here: Record<string, string | number | null> = { ...row };
  for (const column of ['player_id', 'owner_player_id']) {
    const playerId = here[column];
    if (typeof playerId !== 'string') continue;
    const notice = await taking.noticeOf(playerId);
    if (notice?.kind === 'joined') here[column] = notice.into_player_id;
    else if (notice && column === 'player_id') return null;
    else if (notice) here[column] = null;
  }
  return here;
}

/** A player who withdrew and agreed anew is as any other; one who was erased or joined does not come back. */
async function isBarred(taking: Taking, { id, parts }: HandedDocument): Promise<boolean> {
  const notice = await taking.noticeOf(id);
  if (notice === null) return false;
  const agreedAnew = (parts.consent ?? []).some(
    ({ scope, granted_s, withdrawn_s }) =>
      scope === 'upload' && withdrawn_s === null && Number(granted_s) > notice.at_s,
  );
  if (notice.kind !== 'withheld' || !agreedAnew) return true;
  await taking.trx
    .deleteFrom('player_notice')
    .where('id', '=', notice.id)
    .where('club_id', '=', taking.clubId)
    .execute();
  taking.forgetNotice(id);
  return false;
}

/**
 * Two courts that did not know of each other may call two players the same. On the hub who came second is called by the court too,
 * until a coach says who is who; the change goes back to the court, as any other. On a court the hub's player keeps the name: another
 * whom the hub knows is waited for, since the hub tells the two apart; one whom it does not know is called otherwise here.
 *
 * @returns the row with the name that it can have, or null where it has to wait.
 */
async function withFreeName(taking: Taking, row: HandedRow): Promise<HandedRow | null> {
  const wanted = String(row.pseudonym);
  const other = await playerCalled(taking, wanted, String(row.id));
  if (other === null) return row;
  if (!taking.isCourt) return rename(taking, row, await freeName(taking, wanted, taking.from.name));
  if ((await agreedToUpload({ db: taking.trx, clubId: taking.clubId })).has(other.id)) return null;
  const here = await rowOf(taking, 'player', other.id);
  if (here) await writeRow(taking, 'player', await rename(taking, here, await freeName(taking, wanted, 'here')));
  return row;
}

async function freeName(taking: Taking, wanted: string, place: string): Promise<string> {
  for (let count = 1; ; count++) {
    const name = `${wanted} (${place}${count === 1 ? '' : ` ${count}`})`;
    if ((await playerCalled(taking, name, '')) === null) return name;
  }
}

async function playerCalled({ trx, clubId }: Taking, pseudonym: string, exceptId: string) {
  const players = trx.selectFrom('player').select('id').where('club_id', '=', clubId).where('id', '!=', exceptId);
  return (await players.where('pseudonym', '=', pseudonym).executeTakeFirst()) ?? null;
}

/** Notes the other name as a change of the row. @returns the row under it. */
async function rename(taking: Taking, row: HandedRow, pseudonym: string): Promise<HandedRow> {
  const { clubId, makeId, nowS } = taking;
  const renamed = { ...row, pseudonym };
  const id = makeId();
  await insertRow(taking, 'edit', {
    ...{ id, at_s: nowS(), by_role: 'host', by_name: 'hub', action: 'tell two players of one name apart' },
    ...{ table_name: 'player', row_id: String(row.id), group_id: id, undone_by: null },
    before_row: JSON.stringify({ ...row, club_id: clubId }),
    after_row: JSON.stringify({ ...renamed, club_id: clubId }),
  });
  return renamed;
}

/** Lets a thing go that is gone where it comes from, or is not to be handed over any longer. */
async function letGo(taking: Taking, document: HandedDocument): Promise<TakenState> {
  const { entity, id, withheldS } = document;
  const { trx, clubId, nowS } = taking;
  if (isPeoples(entity)) {
    await letPeoplesRowGo(taking, entity, id);
    return 'taken';
  }
  if (entity === 'player') {
    if (withheldS === undefined || !(await hasRow(taking, 'player', id))) return 'taken';
    await erasePlayerRows(trx, id, nowS(), { kind: 'withheld', atS: withheldS });
    taking.forgetNotice(id);
    return 'taken';
  }
  // A sensor that one court forgot may send on another.
  if (entity === 'sensor' || entity === 'edit' || entity === 'player_notice') return 'taken';
  if (entity === 'session') {
    // Only the court that told of a session can take it away with what was found in its recording here.
    if ((await lastSeen(taking, document)) !== null) await letFoundShotsGo(taking, id);
    const shot = trx.selectFrom('shot').select('id').where('session_id', '=', id).where('club_id', '=', clubId);
    const set = trx.selectFrom('shot_set').select('id').where('session_id', '=', id).where('club_id', '=', clubId);
    if ((await shot.executeTakeFirst()) ?? (await set.executeTakeFirst())) return 'waits';
    const rounds = trx.selectFrom('rotation').select('id').where('session_id', '=', id).where('club_id', '=', clubId);
    for (const round of await rounds.execute()) await removeRows(taking, 'rotation_player', 'rotation_id', round.id);
    for (const table of ['mark', 'analysis_run', 'rotation'] as const)
      await removeRows(taking, table, 'session_id', id);
  }
  if (entity === 'shot') {
    for (const table of ['shot_result', 'time_correction'] as const) await removeRows(taking, table, 'shot_id', id);
  }
  if (entity === 'shot_set') {
    for (const table of ['set_factor', 'best_set', 'proof_block', 'study_set'] as const) {
      await removeRows(taking, table, 'set_id', id);
    }
    await trx
      .updateTable('shot')
      .set({ set_id: null })
      .where('set_id', '=', id)
      .where('club_id', '=', clubId)
      .execute();
  }
  await removeRows(taking, entity, 'id', id);
  return 'taken';
}

/** Shots that no court knows, which the hub's own analysis found in the recording, go with their session. */
async function letFoundShotsGo(taking: Taking, sessionId: string): Promise<void> {
  const { trx, clubId } = taking;
  const found = await trx
    .selectFrom('shot')
    .select('shot.id')
    .where('shot.session_id', '=', sessionId)
    .where('shot.club_id', '=', clubId)
    .where(({ exists, not, selectFrom }) =>
      not(
        exists(
          selectFrom('hub_seen')
            .select('hub_seen.seq')
            .whereRef('hub_seen.entity_id', '=', 'shot.id')
            .where('hub_seen.club_id', '=', clubId)
            .where('hub_seen.entity', '=', 'shot'),
        ),
      ),
    )
    .execute();
  for (const { id } of found) {
    for (const table of ['shot_result', 'time_correction'] as const) await removeRows(taking, table, 'shot_id', id);
    await removeRows(taking, 'shot', 'id', id);
  }
}

/** Takes what became of a player: an erasure beats a joining, a joining a withdrawal. */
async function takeNotice(taking: Taking, { id, row }: HandedDocument): Promise<TakenState> {
  const { trx, clubId, nowS } = taking;
  const known = await trx
    .selectFrom('player_notice')
    .selectAll()
    .where('id', '=', id)
    .where('club_id', '=', clubId)
    .executeTakeFirst();
  if (row === null) {
    // The player agreed anew.
    if (known?.kind === 'withheld') await removeRows(taking, 'player_notice', 'id', id);
    return 'taken';
  }
  const ranks = { withheld: 0, joined: 1, erased: 2 } as const;
  const kind = row.kind as keyof typeof ranks;
  if (known && ranks[known.kind] >= ranks[kind]) return 'taken';
  const players = await trx.selectFrom('player').select('id').where('club_id', '=', clubId).execute();
  const player = players.find((each) => playerMark(each.id) === id);
  const atS = Number(row.at_s);
  const into = row.into_player_id as string | null;
  if (kind === 'joined') {
    if (into === null) return 'taken';
    if (!(await hasRow(taking, 'player', into)) && player) return 'waits';
    if (player) await joinPlayers(taking, player.id, into);
  } else if (player && kind === 'erased') {
    // Files come first; the next time there is no such player.
    if (taking.eraseLater?.(player.id)) return 'waits';
    await erasePlayerRows(trx, player.id, nowS(), { kind: 'erased', atS });
  } else if (player && kind === 'withheld') {
    await trx
      .updateTable('consent')
      .set({ withdrawn_s: atS })
      .where('player_id', '=', player.id)
      .where('scope', '=', 'upload')
      .where('granted_s', '<=', atS)
      .where('withdrawn_s', 'is', null)
      .where('club_id', '=', clubId)
      .execute();
    return 'taken';
  }
  if (kind === 'withheld') return 'taken';
  await trx
    .insertInto('player_notice')
    .values({ id, club_id: clubId, kind, at_s: atS, into_player_id: into })
    .onConflict((conflict) =>
      conflict.columns(['club_id', 'id']).doUpdateSet({ kind, at_s: atS, into_player_id: into }),
    )
    .execute();
  return 'taken';
}
