// Longer than most: shots and the results of their analyses are stored, read, merged and told in one set of transactions.
import type { Selectable } from 'kysely';
import { SeamwiseError } from '../../foundation/errors.ts';
import type { Shot } from '../../shots/shot.ts';
import type { EditBatch, EditLog } from './edit-log.ts';
import { newId } from './new-id.ts';
import { placeShot } from './place-shot.ts';
import type { PlayerRecords } from './player-records.ts';
import { type ShotFilter, shotQuery } from './shot-query.ts';
import { resultRow, shotRow } from './shot-rows.ts';
import { type Actor, missing, requireOneOf, requireText, requireWhole, type StoreContext } from './store-context.ts';
import { missSides, outcomes, type ShotTable } from './tables.ts';

export type { ShotFilter } from './shot-query.ts';

/** A shot with the current result of its analysis. */
export interface StoredShot extends Selectable<ShotTable> {
  readonly result: StoredResult;
}

export interface StoredResult {
  readonly analysisVersion: string;
  readonly createdS: number;
  readonly isCurrent: boolean;
  readonly parameters: unknown;
  readonly shot: Shot;
}

/** A shot with what it was made by. */
export interface AnalysedShot {
  readonly shot: Shot;
  readonly analysisVersion: string;
  /** Settings and parameters of the analysis. */
  readonly parameters: unknown;
}

/** Where a new shot belongs. */
export interface ShotPlace {
  readonly sessionId: string;
  readonly setId: string | null;
  readonly playerId: string | null;
  readonly sensorId: string | null;
  readonly streamIndex: number;
  readonly atS: number;
}

/** Shots of one session, one player (or nobody) and one set (or none). */
export interface SessionShots {
  readonly playerId: string | null;
  readonly setId: string | null;
  readonly count: number;
}

/** What clients are told of a new shot: its number, and everything but the shot itself. */
export interface ToldShot {
  readonly seq: number;
  readonly head: { readonly shotId?: string };
}

/** A shot that clients were told of, with what has come of it since. */
export interface ToldAgain extends ToldShot {
  readonly shot: Shot;
  readonly playerId: string | null;
  readonly outcome: (typeof outcomes)[number];
}

/** Where a new shot was put. */
export interface PlacedShot {
  readonly id: string;
  readonly playerId: string | null;
  readonly setId: string | null;
}

/** What going through a session's recording again gave. */
export interface Reanalysis extends Omit<AnalysedShot, 'shot'> {
  /** Shots that were known. */
  readonly again: readonly { readonly shotId: string; readonly shot: Shot }[];
  /** Shots that were not. */
  readonly added: readonly {
    readonly sensorId: string;
    readonly playerId: string | null;
    readonly streamIndex: number;
    readonly atS: number;
    readonly shot: Shot;
  }[];
  /** Records that are now part of another one, of the same shot as a second sensor had it. */
  readonly absorbed?: readonly { readonly shotId: string; readonly intoShotId: string }[];
  /** For the list of who had it gone through again: by whom, shots with other numbers than before, and those not found again. */
  readonly run?: { readonly by: Actor; readonly changed: number; readonly notFound: number };
}

/** Shots of one player in one session. */
export interface ShotCount {
  readonly session_id: string;
  readonly player_id: string | null;
  readonly count: number;
}

const reanalysing: Actor = { role: 'host', name: 'analysis' };

export interface ShotTag {
  readonly outcome?: (typeof outcomes)[number];
  readonly missSide?: (typeof missSides)[number] | null;
  readonly notes?: string;
}

const pageSize = 2000;

/** Shots, the results of their analyses, and what people say of them. */
export class ShotRecords {
  readonly #context: StoreContext;
  readonly #edits: EditLog;
  readonly #players: PlayerRecords;

  constructor(context: StoreContext, edits: EditLog, players: PlayerRecords) {
    this.#context = context;
    this.#edits = edits;
    this.#players = players;
  }

  /** Stores a final shot; it is on the disk when this resolves. @returns the id. */
  async add(place: ShotPlace, analysed: AnalysedShot, told: ToldShot | null = null): Promise<string> {
    const { write, nowS } = this.#context;
    const id = newId(nowS());
    const row = shotRow(this.#context, id, place, analysed.shot, told);
    await write(async (trx) => {
      await trx.insertInto('shot').values(row).execute();
      await trx
        .insertInto('shot_result')
        .values(resultRow(this.#context, id, analysed))
        .execute();
    }, place);
    return id;
  }

  /**
   * Stores a final shot that has just been made, for the player and in the set that it belongs to (`placeShot`); it is on the
   * disk when this resolves.
   *
   * @returns where it was put, or null when the owner of the sensor has not agreed to being recorded: nothing is then stored.
   */
  async addLive(
    place: Omit<ShotPlace, 'playerId' | 'setId'> & { readonly sensorIds: readonly string[] },
    analysed: AnalysedShot,
    told: ToldShot | null = null,
  ): Promise<PlacedShot | null> {
    const { write, nowS } = this.#context;
    const id = newId(nowS());
    return write(async (trx) => {
      const owner = await placeShot(trx, this.#context, place);
      if (owner === null) return null;
      await trx
        .insertInto('shot')
        .values(shotRow(this.#context, id, { ...place, ...owner }, analysed.shot, told))
        .execute();
      await trx
        .insertInto('shot_result')
        .values(resultRow(this.#context, id, analysed))
        .execute();
      return { id, ...owner };
    }, place);
  }

  /** Puts a new result beside the older ones and makes it the current one. */
  async addResult(shotId: string, analysed: AnalysedShot): Promise<void> {
    await this.#context.write(async (trx) => {
      await trx.updateTable('shot_result').set({ is_current: 0 }).where('shot_id', '=', shotId).execute();
      await trx
        .insertInto('shot_result')
        .values(resultRow(this.#context, shotId, analysed))
        .execute();
    });
  }

  /** Stores what a session's recording gave this time, all or nothing. */
  async storeReanalysis(sessionId: string, reanalysis: Reanalysis): Promise<void> {
    const { clubId } = this.#context;
    const { analysisVersion, parameters, again, added, absorbed = [] } = reanalysis;
    await this.#edits.make(reanalysing, 'put two records of one shot together', async (batch) => {
      const { trx } = batch;
      for (const { shotId, shot } of again) {
        await trx.updateTable('shot_result').set({ is_current: 0 }).where('shot_id', '=', shotId).execute();
        const row = resultRow(this.#context, shotId, { shot, analysisVersion, parameters });
        await trx.insertInto('shot_result').values(row).execute();
      }
      for (const { shot, ...place } of added) {
        const id = newId(this.#context.nowS());
        const whole = { sessionId, setId: null, ...place };
        await trx
          .insertInto('shot')
          .values(shotRow(this.#context, id, whole, shot, null))
          .execute();
        const row = resultRow(this.#context, id, { shot, analysisVersion, parameters });
        await trx.insertInto('shot_result').values(row).execute();
      }
      for (const { shotId, intoShotId } of absorbed) await absorb(batch, shotId, intoShotId);
      const { by = reanalysing, changed = 0, notFound = 0 } = reanalysis.run ?? {};
      await trx
        .insertInto('analysis_run')
        .values({
          ...{ id: newId(this.#context.nowS()), club_id: clubId, session_id: sessionId },
          ...{ analysis_version: analysisVersion, by_role: by.role, by_name: by.name, made_s: this.#context.nowS() },
          ...{ again: again.length, changed, added: added.length, absorbed: absorbed.length, not_found: notFound },
        })
        .execute();
      await trx
        .updateTable('session')
        .set({ analysed_version: analysisVersion })
        .where('id', '=', sessionId)
        .where('club_id', '=', clubId)
        .execute();
    });
  }

  /** @returns all shots that are meant, page after page. */
  async all(filter: Omit<ShotFilter, 'after' | 'limit'>): Promise<StoredShot[]> {
    const shots: StoredShot[] = [];
    for (let after: ShotFilter['after']; ; ) {
      const page = await this.list({ ...filter, limit: pageSize, ...(after && { after }) });
      shots.push(...page);
      const last = page.at(-1);
      if (!last || page.length < pageSize) return shots;
      after = { atS: last.at_s, id: last.id };
    }
  }

  /** @returns every result of a shot, oldest first. */
  async results(shotId: string): Promise<StoredResult[]> {
    const { db, clubId } = this.#context;
    const rows = await db
      .selectFrom('shot_result')
      .selectAll()
      .where('shot_id', '=', shotId)
      .where('club_id', '=', clubId)
      .orderBy('created_s')
      .orderBy('id')
      .execute();
    return rows.map((row) => ({
      analysisVersion: row.analysis_version,
      createdS: row.created_s,
      isCurrent: row.is_current === 1,
      parameters: JSON.parse(row.parameters),
      shot: JSON.parse(row.document) as Shot,
    }));
  }

  /** @returns shots in the order of their time, at most `limit` (default 1000). */
  async list(filter: ShotFilter): Promise<StoredShot[]> {
    const { db, clubId } = this.#context;
    const rows = await shotQuery(db, clubId, filter).execute();
    return rows.map(({ result_version, result_created_s, result_parameters, result_document, ...shot }) => ({
      ...shot,
      result: {
        analysisVersion: result_version,
        createdS: result_created_s,
        isCurrent: true,
        parameters: JSON.parse(result_parameters),
        shot: JSON.parse(result_document) as Shot,
      },
    }));
  }

  /** @returns how many shots of a session lie before one of them, in the order of their time. */
  async countBefore(sessionId: string, { atS, id }: { readonly atS: number; readonly id: string }): Promise<number> {
    const { db, clubId } = this.#context;
    const { count } = await db
      .selectFrom('shot')
      .select(({ fn }) => fn.countAll().as('count'))
      .where('session_id', '=', sessionId)
      .where('club_id', '=', clubId)
      .where('at_s', '<=', atS)
      .where(({ eb, refTuple, tuple }) => eb(refTuple('at_s', 'id'), '<', tuple(atS, id)))
      .executeTakeFirstOrThrow();
    return Number(count);
  }

  /** @returns how many shots of a session are whose and in which set. */
  async countsIn(sessionId: string): Promise<SessionShots[]> {
    const { db, clubId } = this.#context;
    const rows = await db
      .selectFrom('shot')
      .select(['player_id', 'set_id', ({ fn }) => fn.countAll().as('count')])
      .where('session_id', '=', sessionId)
      .where('club_id', '=', clubId)
      .groupBy(['player_id', 'set_id'])
      .execute();
    return rows.map(({ player_id, set_id, count }) => ({ playerId: player_id, setId: set_id, count: Number(count) }));
  }

  /** @returns how many shots are meant, by session and player. */
  async counts(filter: Omit<ShotFilter, 'after' | 'limit'>): Promise<ShotCount[]> {
    const { db, clubId } = this.#context;
    const rows = await shotQuery(db, clubId, filter)
      .clearSelect()
      .clearOrderBy()
      .clearLimit()
      .select(['shot.session_id', 'shot.player_id', ({ fn }) => fn.count('shot.id').as('count')])
      .groupBy(['shot.session_id', 'shot.player_id'])
      .execute();
    return rows.map(({ session_id, player_id, count }) => ({ session_id, player_id, count: Number(count) }));
  }

  /**
   * @param first,last from 1, in the order of their time.
   * @returns ids of the shots of a session from the first to the last one.
   */
  async range(sessionId: string, first: number, last: number): Promise<string[]> {
    const { db, clubId } = this.#context;
    const rows = await db
      .selectFrom('shot')
      .select('id')
      .where('session_id', '=', sessionId)
      .where('club_id', '=', clubId)
      .orderBy('at_s')
      .orderBy('id')
      .offset(requireWhole('number of the first shot', first, 1, 1e9) - 1)
      .limit(Math.max(0, requireWhole('number of the last shot', last, 0, 1e9) - first + 1))
      .execute();
    return rows.map(({ id }) => id);
  }

  /** @returns id of the newest shot of a session, or null. */
  async newest(sessionId: string): Promise<string | null> {
    const { db, clubId } = this.#context;
    const shots = db.selectFrom('shot').select('id').where('session_id', '=', sessionId).where('club_id', '=', clubId);
    return (await shots.orderBy('at_s', 'desc').orderBy('id', 'desc').executeTakeFirst())?.id ?? null;
  }

  /** @returns the session of a player's newest shot, or null. */
  async newestSessionOf(playerId: string): Promise<string | null> {
    const { db, clubId } = this.#context;
    const shots = db.selectFrom('shot').select('session_id').where('player_id', '=', playerId);
    const newest = shots.where('club_id', '=', clubId).orderBy('at_s', 'desc').orderBy('id', 'desc');
    return (await newest.executeTakeFirst())?.session_id ?? null;
  }

  /**
   * @param names ids, or names under which clients were told of shots.
   * @returns their ids, in the same order. @throws SeamwiseError `store-missing`.
   */
  async idsOf(names: readonly string[]): Promise<string[]> {
    const { db, clubId } = this.#context;
    const ids: string[] = [];
    for (const name of names) {
      const shots = db.selectFrom('shot').select('id').where('club_id', '=', clubId);
      const found =
        (await shots.where('id', '=', name).executeTakeFirst()) ??
        (await shots.where('told_id', '=', name).executeTakeFirst());
      if (!found) throw missing('shot', name);
      ids.push(found.id);
    }
    return ids;
  }

  /** @returns what clients were told last, oldest first. */
  async latestTold(count: number): Promise<ToldAgain[]> {
    const { db, clubId } = this.#context;
    const rows = await db
      .selectFrom('shot')
      .innerJoin('shot_result', (join) =>
        join.onRef('shot_result.shot_id', '=', 'shot.id').on('shot_result.is_current', '=', 1),
      )
      .select(['told_seq', 'told_head', 'document', 'player_id', 'outcome'])
      .where('shot.club_id', '=', clubId)
      .where('told_seq', 'is not', null)
      .orderBy('told_seq', 'desc')
      .limit(count)
      .execute();
    return rows.reverse().map(({ told_seq, told_head, document, player_id, outcome }) => ({
      seq: Number(told_seq),
      head: JSON.parse(told_head ?? '{}') as ToldShot['head'],
      shot: JSON.parse(document) as Shot,
      playerId: player_id,
      outcome,
    }));
  }

  /** Says what became of shots. @throws SeamwiseError `store-missing` or `store-value`. */
  async tag(actor: Actor, shotIds: readonly string[], tag: ShotTag): Promise<void> {
    const { outcome, missSide, notes } = tag;
    if (missSide && outcome !== undefined && outcome !== 'miss') {
      throw new SeamwiseError(
        'store-value',
        `a side of the miss with the outcome ${outcome}: expected it with a miss only`,
      );
    }
    const change = {
      ...(outcome !== undefined && { outcome: requireOneOf('outcome', outcome, outcomes) }),
      ...(outcome !== undefined && outcome !== 'miss' && { miss_side: null }),
      ...(missSide !== undefined && {
        miss_side: missSide === null ? null : requireOneOf('side of the miss', missSide, missSides),
      }),
      ...(notes !== undefined && { notes: requireText('notes', notes, { most: 4000 }) }),
    };
    await this.#edits.make(actor, inWords('tag', shotIds), async (batch) => {
      for (const id of shotIds) await batch.change('shot', id, change);
    });
  }

  /** Gives shots to a player, or to nobody. @throws SeamwiseError `store-missing` or `no-consent`. */
  async assign(actor: Actor, shotIds: readonly string[], playerId: string | null): Promise<void> {
    await this.#edits.make(actor, inWords('assign', shotIds), async (batch) => {
      if (playerId !== null) await this.#players.requireConsent(playerId, 'record', batch.trx);
      for (const id of shotIds) await batch.change('shot', id, { player_id: playerId });
    });
  }

  /** Puts shots into a set of their session, or out of any. @throws SeamwiseError `store-missing` or `store-value`. */
  async putIntoSet(actor: Actor, shotIds: readonly string[], setId: string | null): Promise<void> {
    const { clubId } = this.#context;
    await this.#edits.make(actor, inWords('put into a set', shotIds), async (batch) => {
      const sets = batch.trx.selectFrom('shot_set').select('session_id').where('club_id', '=', clubId);
      const set = setId === null ? null : await sets.where('id', '=', setId).executeTakeFirst();
      if (set === undefined) throw missing('set', setId ?? '');
      for (const id of shotIds) {
        const { session_id } = await batch.change('shot', id, { set_id: setId });
        if (set !== null && set.session_id !== session_id)
          throw new SeamwiseError(
            'store-value',
            'the set is of another session: expected one of the session of the shot',
          );
      }
    });
  }
}

/** The results go over as older ones; what people said of the shot too, where they said nothing of the other record. */
async function absorb(batch: EditBatch, shotId: string, intoShotId: string): Promise<void> {
  const { trx } = batch;
  const row = (id: string) => trx.selectFrom('shot').selectAll().where('id', '=', id).executeTakeFirstOrThrow();
  const [gone, kept] = [await row(shotId), await row(intoShotId)];
  const isTagged = kept.outcome !== 'unknown';
  await trx
    .updateTable('shot_result')
    .set({ is_current: 0, shot_id: intoShotId })
    .where('shot_id', '=', shotId)
    .execute();
  await takeOverCorrections(batch, shotId, intoShotId);
  await batch.change('shot', intoShotId, {
    player_id: kept.player_id ?? gone.player_id,
    set_id: kept.set_id ?? gone.set_id,
    outcome: isTagged ? kept.outcome : gone.outcome,
    miss_side: isTagged ? kept.miss_side : gone.miss_side,
    notes: [kept.notes, gone.notes].filter(Boolean).join('; '),
  });
  await batch.remove('shot', shotId);
}

/** What was set by hand goes over too, but for a time that was set by hand in the other record. */
async function takeOverCorrections(batch: EditBatch, shotId: string, intoShotId: string): Promise<void> {
  const of = (id: string) => batch.trx.selectFrom('time_correction').selectAll().where('shot_id', '=', id).execute();
  const kept = await of(intoShotId);
  for (const { id, phase } of await of(shotId)) {
    if (kept.some((each) => each.phase === phase)) await batch.remove('time_correction', id);
    else await batch.change('time_correction', id, { shot_id: intoShotId });
  }
}

function inWords(verb: string, shotIds: readonly string[]): string {
  return shotIds.length === 1 ? `${verb} shot` : `${verb} ${shotIds.length} shots`;
}
