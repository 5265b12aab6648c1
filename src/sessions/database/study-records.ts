import type { Selectable } from 'kysely';
import { SeamwiseError } from '../../foundation/errors.ts';
import type { StudySetTable, StudyTable } from './coaching-tables.ts';
import type { EditLog } from './edit-log.ts';
import { newId } from './new-id.ts';
import type { PlayerRecords } from './player-records.ts';
import {
  type Actor,
  type Connection,
  missing,
  requireNumber,
  requireText,
  type StoreContext,
} from './store-context.ts';
import type { ShotSetTable } from './tables.ts';

/** What was planned, drawn by the program. */
export interface StudyDesign {
  /** Levels of the factor. */
  readonly levels: readonly string[];
  /** One a level, where the study is blinded: what the level is called until it is closed. */
  readonly labels: readonly string[];
  readonly playerIds: readonly string[];
  readonly shotsASet: number;
  /** For each day of each player the order of the levels; the rows of the first player first. */
  readonly order: readonly (readonly number[])[];
  readonly margins: Readonly<Record<string, number>>;
  readonly measures: readonly string[];
}

export interface Study extends Omit<Selectable<StudyTable>, 'design'> {
  readonly design: StudyDesign;
}

export interface StudySetRow extends Selectable<StudySetTable> {
  readonly set: Selectable<ShotSetTable>;
}

/** Studies with their sets. */
export class StudyRecords {
  readonly #context: StoreContext;
  readonly #edits: EditLog;
  readonly #players: PlayerRecords;

  constructor(context: StoreContext, edits: EditLog, players: PlayerRecords) {
    this.#context = context;
    this.#edits = edits;
    this.#players = players;
  }

  /** @param design checked and drawn. @returns the id. @throws SeamwiseError `store-missing`, `store-value` or `no-consent`. */
  async add(
    actor: Actor,
    words: { readonly name: string; readonly factor: string; readonly blinded: boolean; readonly seed: string },
    design: StudyDesign,
  ): Promise<string> {
    const { clubId, nowS } = this.#context;
    const row = {
      id: newId(nowS()),
      club_id: clubId,
      name: requireText('name of the study', words.name, { least: 1, most: 120 }),
      factor: requireText('condition', words.factor, { least: 1, most: 60 }),
      design: JSON.stringify(design),
      seed: words.seed,
      blinded: words.blinded ? 1 : 0,
      made_s: nowS(),
      closed_s: null,
    };
    await this.#edits.make(actor, `plan study ${row.name}`, async (batch) => {
      for (const playerId of design.playerIds) await this.#players.requireConsent(playerId, 'record', batch.trx);
      await batch.insert('study', row);
    });
    return row.id;
  }

  /** @throws SeamwiseError `store-missing` */
  async get(id: string, connection: Connection = this.#context.db): Promise<Study> {
    const { clubId } = this.#context;
    const rows = connection.selectFrom('study').selectAll().where('id', '=', id).where('club_id', '=', clubId);
    const row = await rows.executeTakeFirst();
    if (!row) throw missing('study', id);
    return parsed(row);
  }

  /** @returns studies, newest first. */
  async list(): Promise<Study[]> {
    const { db, clubId } = this.#context;
    const rows = db.selectFrom('study').selectAll().where('club_id', '=', clubId).orderBy('made_s', 'desc');
    return (await rows.orderBy('id', 'desc').execute()).map(parsed);
  }

  /** Closes a study, and opens its labels with it. */
  async close(actor: Actor, id: string): Promise<void> {
    await this.#edits.make(actor, 'close study', (batch) =>
      batch.change('study', id, { closed_s: this.#context.nowS() }),
    );
  }

  /** @returns sets of a study in the order of the plan. */
  async sets(studyId: string, connection: Connection = this.#context.db): Promise<StudySetRow[]> {
    const { clubId } = this.#context;
    const rows = await connection
      .selectFrom('study_set')
      .selectAll()
      .where('study_id', '=', studyId)
      .where('club_id', '=', clubId)
      .orderBy('row_index')
      .orderBy('place')
      .execute();
    if (rows.length === 0) return [];
    const ids = rows.map(({ set_id }) => set_id);
    const sets = await connection.selectFrom('shot_set').selectAll().where('id', 'in', ids).execute();
    return rows.flatMap((row) => {
      const set = sets.find(({ id }) => id === row.set_id);
      return set ? [{ ...row, set }] : [];
    });
  }

  /**
   * Starts the next set of a row of the plan. Its condition is noted with the set under the study's factor: the label while the study is
   * blinded, else the level.
   *
   * @returns the id of the set. @throws SeamwiseError `store-missing`, `store-value` or `no-consent`.
   */
  async startSet(
    actor: Actor,
    studyId: string,
    sessionId: string,
    words: { readonly row: number; readonly spot: string; readonly distanceM: number | null },
  ): Promise<string> {
    const { clubId, nowS } = this.#context;
    const setId = newId(nowS());
    await this.#edits.make(actor, 'start set of a study', async (batch) => {
      const study = await this.get(studyId, batch.trx);
      const taken = await this.sets(studyId, batch.trx);
      const { place, level } = nextOfRow(study, taken, words.row);
      const { order, playerIds, levels, labels } = study.design;
      const playerId = playerOfRow(words.row, order.length, playerIds);
      if (playerId !== null) await this.#players.requireConsent(playerId, 'record', batch.trx);
      for (const { set_id, set } of taken) {
        if (set.ended_s === null) await batch.change('shot_set', set_id, { ended_s: Math.max(set.started_s, nowS()) });
      }
      await batch.insert('shot_set', {
        ...{ id: setId, club_id: clubId, session_id: sessionId, player_id: playerId, kind: 'test', name: study.name },
        spot: requireText('spot', words.spot, { most: 60 }),
        distance_m: words.distanceM === null ? null : requireNumber('distance in m', words.distanceM, 0.5, 30),
        ...{ started_s: nowS(), ended_s: null, total_made: null, total_attempted: null, notes: '' },
      });
      await batch.insert('set_factor', {
        ...{ id: newId(nowS()), club_id: clubId, set_id: setId, factor: study.factor },
        level: (study.blinded ? labels[level] : levels[level]) ?? '',
      });
      await batch.insert('study_set', {
        ...{ id: newId(nowS()), club_id: clubId, study_id: studyId, set_id: setId, row_index: words.row, place },
      });
    });
    return setId;
  }
}

/** @returns which set of a row of the plan comes next, from 0, and its level. @throws SeamwiseError `store-value`. */
function nextOfRow(study: Study, taken: readonly StudySetRow[], row: number): { place: number; level: number } {
  if (study.closed_s !== null) {
    throw new SeamwiseError('store-value', 'the study is closed: expected one that is still open');
  }
  const { order } = study.design;
  const sequence = order[row];
  if (!sequence) {
    throw new SeamwiseError('store-value', `row ${row}: expected a row of the plan, 0 to ${order.length - 1}`);
  }
  const place = taken.filter(({ row_index }) => row_index === row).length;
  const level = sequence[place];
  if (level === undefined) {
    throw new SeamwiseError('store-value', `row ${row} of the plan has all its ${sequence.length} sets already`);
  }
  return { place, level };
}

/** @returns whose days a row of the plan is; rows are dealt to the players in turn of equal parts. */
export function playerOfRow(row: number, rows: number, playerIds: readonly string[]): string | null {
  if (playerIds.length === 0) return null;
  return playerIds[Math.floor((row * playerIds.length) / rows)] ?? null;
}

function parsed({ design, ...row }: Selectable<StudyTable>): Study {
  return { ...row, design: JSON.parse(design) as StudyDesign };
}
