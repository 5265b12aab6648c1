import { SeamwiseError } from '../../foundation/errors.ts';
import type { Shot } from '../../shots/shot.ts';
import { amongIds } from '../database/among-ids.ts';
import type { EditedTable, EditLog, MadeChange } from '../database/edit-log.ts';
import type { HandedEntity, PlayerNoticeTable } from '../database/hub-tables.ts';
import { newId } from '../database/new-id.ts';
import { type Actor, missing, type StoreContext } from '../database/store-context.ts';
import type { outcomes } from '../database/tables.ts';
import type { HandedDocument, HandedTable } from './handed-tables.ts';
import { joinPlayers } from './join-players.ts';
import { playerMark } from './player-mark.ts';
import { agreedToUpload, type ChangePlace, changedAfter, needsOf, readDocument } from './read-documents.ts';
import { type TakenDocument, takeDocument } from './take-document.ts';
import { type CourtDocuments, takeNewThings } from './take-new-things.ts';
import { rowOf, type Taking } from './taken-rows.ts';
import { ToldToCourts } from './told-to-courts.ts';

/** From whom a court takes documents. */
export const hubItself = { id: 'hub', name: 'hub' } as const;

/** Documents in the order in which they are to be taken. */
export interface HandedBatch {
  readonly documents: readonly HandedDocument[];
  /** Number up to which everything is in this batch or in those before. */
  readonly upTo: number;
}

/** A thing that was changed, under the number of its change. */
export type ToldPlace = ChangePlace;

/** A shot with the head under which its court told of it. */
export interface ToldCourtShot {
  readonly head: unknown;
  readonly shot: Shot;
  readonly playerId: string | null;
  readonly outcome: (typeof outcomes)[number];
  readonly court: string | null;
}

export interface TakeOptions {
  /** Takes over an erasure that is more than of rows. @returns whether it did. */
  readonly eraseLater?: (playerId: string) => boolean;
}

/** What is handed over between the databases of one club: those of its courts, and that of its hub. */
export class HubRecords {
  readonly #context: StoreContext;
  readonly #edits: EditLog;
  readonly #told: ToldToCourts;

  constructor(context: StoreContext, edits: EditLog) {
    this.#context = context;
    this.#edits = edits;
    this.#told = new ToldToCourts(context);
  }

  /** @returns what a court has to tell its hub after a number, and before each what it hangs on: nothing of a player who did not agree. */
  async forHub(after: number, limit: number): Promise<HandedBatch> {
    const places = await changedAfter(this.#context, after, limit);
    return { documents: await this.#withNeeds(places, after), upTo: places.at(-1)?.seq ?? after };
  }

  /** @returns a thing behind all that it hangs on. */
  async withNeeds(entity: HandedEntity, id: string): Promise<readonly HandedDocument[]> {
    return this.#withNeeds([{ entity, entity_id: id, seq: await this.#seqOf(entity, id) }], 0);
  }

  /** @returns how many changes there are after a number. */
  async waiting(after: number): Promise<number> {
    const { db, clubId } = this.#context;
    const log = db.selectFrom('change_log').select(({ fn }) => fn.countAll().as('count'));
    return Number((await log.where('club_id', '=', clubId).where('seq', '>', after).executeTakeFirst())?.count ?? 0);
  }

  /** @param after what a thing hangs on was told before where it has no later number. */
  async #withNeeds(places: readonly ChangePlace[], after: number): Promise<readonly HandedDocument[]> {
    const { db, clubId } = this.#context;
    const reading = { db, clubId, agreed: await agreedToUpload(this.#context) };
    const documents = new Map<string, HandedDocument>();
    const add = async (place: ChangePlace): Promise<void> => {
      const key = `${place.entity} ${place.entity_id}`;
      if (documents.has(key)) return;
      const document = await readDocument(reading, place);
      for (const { entity, id } of needsOf(document)) {
        const seq = await this.#seqOf(entity, id);
        if (seq > after) await add({ entity, entity_id: id, seq });
      }
      documents.set(key, document);
    };
    for (const place of places) await add(place);
    return [...documents.values()];
  }

  async #seqOf(entity: HandedEntity, id: string): Promise<number> {
    const { db, clubId } = this.#context;
    const log = db.selectFrom('change_log').select('seq').where('club_id', '=', clubId);
    const row = await log.where('entity', '=', entity).where('entity_id', '=', id).executeTakeFirst();
    return Number(row?.seq ?? 0);
  }

  /** @returns what the hub has to tell a court after a number. */
  forCourt(after: number, limit: number): Promise<HandedBatch> {
    return this.#told.after(after, limit);
  }

  /**
   * Takes documents in their order, all or none.
   *
   * @returns what came of each, in the same order.
   */
  async take(
    from: Taking['from'],
    documents: readonly HandedDocument[],
    options: TakeOptions = {},
  ): Promise<TakenDocument[]> {
    const [taken = []] = await this.takeTogether([{ from, documents }], options);
    return taken;
  }

  /**
   * Takes documents of several courts in one transaction, all or none.
   *
   * @returns what came of each, in the same order.
   */
  async takeTogether(groups: readonly CourtDocuments[], { eraseLater }: TakeOptions = {}): Promise<TakenDocument[][]> {
    const { clubId, nowS, write } = this.#context;
    let changed: MadeChange['rows'][number][] = [];
    const taken = await write(async (trx) => {
      changed = [];
      const stored = await takeNewThings(trx, clubId, groups);
      const notices = new Map<string, PlayerNoticeTable | null>();
      const results: TakenDocument[][] = [];
      for (const { from, documents } of groups) {
        const taking: Taking = {
          ...{ trx, clubId, from, nowS, isCourt: from.id === hubItself.id, makeId: () => newId(nowS()) },
          ...(eraseLater && { eraseLater }),
          async noticeOf(playerId) {
            const known = notices.get(playerId);
            if (known !== undefined) return known;
            const rows = trx.selectFrom('player_notice').selectAll().where('id', '=', playerMark(playerId));
            const notice = (await rows.where('club_id', '=', clubId).executeTakeFirst()) ?? null;
            notices.set(playerId, notice);
            return notice;
          },
          forgetNotice: (playerId) => notices.delete(playerId),
        };
        const ofGroup: TakenDocument[] = [];
        for (const document of documents) {
          const isStored = stored.has(document);
          const result: TakenDocument = isStored ? { state: 'taken' } : await takeDocument(taking, document);
          if (document.entity === 'player_notice') notices.clear();
          ofGroup.push(result);
          const touched = result.state === 'taken' ? touchedBy(document) : null;
          if (touched === null) continue;
          const after = isStored ? document.row : await rowOf(taking, touched.table as HandedTable, touched.id);
          changed.push({ ...touched, after, before: null });
        }
        results.push(ofGroup);
      }
      return results;
    });
    if (changed.length > 0) this.#edits.announce({ rows: changed });
    return taken;
  }

  /**
   * Makes two players one: everything of the one becomes the other's, on every court too. It is not undone.
   *
   * @throws SeamwiseError `store-missing`, or `store-value` for a player and the same one.
   */
  async joinPlayers(actor: Actor, fromId: string, intoId: string): Promise<void> {
    const { clubId, nowS } = this.#context;
    if (fromId === intoId) throw new SeamwiseError('store-value', 'a player and the same one: expected two players');
    await this.#edits.make(actor, 'join two players', async (batch) => {
      const { trx } = batch;
      for (const id of [fromId, intoId]) {
        const player = trx.selectFrom('player').select('id').where('id', '=', id).where('club_id', '=', clubId);
        if (!(await player.executeTakeFirst())) throw missing('player', id);
      }
      const told = { kind: 'joined' as const, at_s: nowS(), into_player_id: intoId };
      await trx
        .insertInto('player_notice')
        .values({ id: playerMark(fromId), club_id: clubId, ...told })
        .onConflict((conflict) => conflict.columns(['club_id', 'id']).doUpdateSet(told))
        .execute();
      await joinPlayers({ trx, clubId }, fromId, intoId);
    });
    const gone = { table: 'player' as const, id: fromId, before: null, after: null };
    this.#edits.announce({ rows: [gone, { table: 'shot', id: '', before: null, after: null }] });
  }

  /** @returns things that were changed after a number, in the order of their numbers. */
  changes(after: number, limit: number): Promise<ToldPlace[]> {
    return changedAfter(this.#context, after, limit);
  }

  /** @returns the things that were changed last, in the order of their numbers. */
  async latestChanges(count: number): Promise<ToldPlace[]> {
    const { db, clubId } = this.#context;
    const log = db.selectFrom('change_log').select(['entity', 'entity_id', 'seq']).where('club_id', '=', clubId);
    const rows = await log.orderBy('seq', 'desc').limit(count).execute();
    return rows.reverse().map((row) => ({ ...row, seq: Number(row.seq) }));
  }

  /** @returns shots as pages were told of them on their court, as they stand now, by their ids. */
  async toldShots(ids: readonly string[]): Promise<ReadonlyMap<string, ToldCourtShot>> {
    if (ids.length === 0) return new Map();
    const { db, clubId } = this.#context;
    const rows = await db
      .selectFrom('shot')
      .innerJoin('shot_result', (join) =>
        join
          .onRef('shot_result.shot_id', '=', 'shot.id')
          .on('shot_result.is_current', '=', 1)
          .on('shot_result.club_id', '=', clubId),
      )
      .select([
        'shot.id',
        'shot.told_head',
        'shot.player_id',
        'shot.outcome',
        'shot.session_id',
        'shot_result.document',
      ])
      .where('shot.club_id', '=', clubId)
      .where(amongIds(db, 'shot.id', ids))
      .where('shot.told_head', 'is not', null)
      .execute();
    const courts = await this.#courtsOf([...new Set(rows.map(({ session_id }) => session_id))]);
    return new Map(
      rows.map(({ id, told_head, player_id, outcome, session_id, document }) => [
        id,
        {
          head: JSON.parse(told_head ?? '{}') as unknown,
          shot: JSON.parse(document) as Shot,
          playerId: player_id,
          outcome,
          court: courts.get(session_id) ?? null,
        },
      ]),
    );
  }

  /** @returns names of the courts that sessions are from, by the ids of the sessions. */
  async #courtsOf(sessionIds: readonly string[]): Promise<ReadonlyMap<string, string>> {
    if (sessionIds.length === 0) return new Map();
    const { db, clubId } = this.#context;
    const rows = await db
      .selectFrom('hub_seen')
      .innerJoin('hub_court', (join) => join.onRef('hub_court.id', '=', 'hub_seen.court_id'))
      .select(['hub_seen.entity_id', 'hub_court.name'])
      .where('hub_seen.club_id', '=', clubId)
      .where('hub_court.club_id', '=', clubId)
      .where('hub_seen.entity', '=', 'session')
      .where(amongIds(db, 'hub_seen.entity_id', sessionIds))
      .execute();
    return new Map(rows.map(({ entity_id, name }) => [entity_id, name]));
  }

  /** @returns the table that an entry of the log of changes is of, or null. */
  async editedTable(editId: string): Promise<string | null> {
    const { db, clubId } = this.#context;
    const edits = db.selectFrom('edit').select('table_name').where('id', '=', editId).where('club_id', '=', clubId);
    return (await edits.executeTakeFirst())?.table_name ?? null;
  }

  /** @returns the session that a thing is of, or null. */
  async sessionOf(entity: HandedEntity, id: string): Promise<string | null> {
    if (entity !== 'shot' && entity !== 'shot_set' && entity !== 'mark' && entity !== 'rotation') return null;
    const { db, clubId } = this.#context;
    const rows = db
      .selectFrom(entity as 'shot')
      .select('session_id')
      .where('id', '=', id)
      .where('club_id', '=', clubId);
    return (await rows.executeTakeFirst())?.session_id ?? null;
  }

  /** @returns a number that was remembered under a name; 0 before. */
  async position(name: string): Promise<number> {
    return Number((await this.remembered(name)) ?? 0);
  }

  setPosition(name: string, position: number): Promise<void> {
    return this.remember(name, String(position));
  }

  /** @returns what was remembered under a name, or null. */
  async remembered(name: string): Promise<string | null> {
    const { db, clubId } = this.#context;
    const rows = db.selectFrom('hub_position').select('value').where('id', '=', name).where('club_id', '=', clubId);
    return (await rows.executeTakeFirst())?.value ?? null;
  }

  async remember(name: string, value: string): Promise<void> {
    const { db, clubId } = this.#context;
    await db
      .insertInto('hub_position')
      .values({ id: name, club_id: clubId, value })
      .onConflict((conflict) => conflict.columns(['club_id', 'id']).doUpdateSet({ value }))
      .execute();
  }

  /** Remembers what the hub would not take, and why. */
  async park({ entity, id }: HandedDocument, reason: string): Promise<void> {
    const { db, clubId, nowS } = this.#context;
    const row = { entity, entity_id: id, reason: reason.slice(0, 500), at_s: nowS() };
    await db
      .insertInto('hub_parked')
      .values({ id: `${entity} ${id}`, club_id: clubId, ...row })
      .onConflict((conflict) => conflict.columns(['club_id', 'id']).doUpdateSet(row))
      .execute();
  }

  /** @returns whether everybody whose shots, sets or sensors a session has agreed to being handed over. */
  async mayHandRecording(sessionId: string): Promise<boolean> {
    const { db, clubId } = this.#context;
    const shots = await db
      .selectFrom('shot')
      .leftJoin('sensor', (join) => join.onRef('sensor.id', '=', 'shot.sensor_id').on('sensor.club_id', '=', clubId))
      .select(['shot.player_id', 'sensor.owner_player_id'])
      .distinct()
      .where('shot.session_id', '=', sessionId)
      .where('shot.club_id', '=', clubId)
      .execute();
    const sets = db.selectFrom('shot_set').select('player_id').where('session_id', '=', sessionId);
    const agreed = await agreedToUpload(this.#context);
    const players = [
      ...shots.flatMap(({ player_id, owner_player_id }) => [player_id, owner_player_id]),
      ...(await sets.where('club_id', '=', clubId).execute()).map(({ player_id }) => player_id),
    ];
    return players.every((playerId) => playerId === null || agreed.has(playerId));
  }

  /** @returns how many things the hub would not take, with the newest reason. */
  async parked(): Promise<{ readonly count: number; readonly reason: string | null }> {
    const { db, clubId } = this.#context;
    const rows = await db
      .selectFrom('hub_parked')
      .select('reason')
      .where('club_id', '=', clubId)
      .orderBy('at_s', 'desc')
      .execute();
    return { count: rows.length, reason: rows[0]?.reason ?? null };
  }

  async unpark({ entity, id }: Pick<HandedDocument, 'entity' | 'id'>): Promise<void> {
    const { db, clubId } = this.#context;
    await db.deleteFrom('hub_parked').where('id', '=', `${entity} ${id}`).where('club_id', '=', clubId).execute();
  }

  /** @returns the number of the last change. */
  async lastChange(): Promise<number> {
    const { db, clubId } = this.#context;
    const last = db
      .selectFrom('change_log')
      .select(({ fn }) => fn.max('seq').as('seq'))
      .where('club_id', '=', clubId);
    return Number((await last.executeTakeFirst())?.seq ?? 0);
  }

  /**
   * Numbers everything anew above a number: a database that was restored from a backup would else give numbers a second time, and
   * its hub would take what is new for what is old.
   */
  async numberAnewAbove(seq: number): Promise<void> {
    const { clubId, write } = this.#context;
    await write(async (trx) => {
      const rows = await trx
        .selectFrom('change_log')
        .select(['entity', 'entity_id'])
        .where('club_id', '=', clubId)
        .orderBy('seq')
        .execute();
      await trx.deleteFrom('change_log').where('club_id', '=', clubId).execute();
      for (const [place, row] of rows.entries()) {
        await trx
          .insertInto('change_log')
          .values({ ...row, club_id: clubId, seq: seq + 1 + place })
          .execute();
      }
    });
  }
}

/** @returns the row that a document may have changed, where pages are to hear of it. */
function touchedBy({ entity, id, row }: HandedDocument): { table: EditedTable; id: string } | null {
  if (entity === 'edit') {
    return row === null ? null : { table: row.table_name as EditedTable, id: String(row.row_id) };
  }
  if (entity === 'player_notice') return { table: 'player', id: '' };
  if (entity === 'sensor_calibration') return null;
  return { table: entity, id };
}
