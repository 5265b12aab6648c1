import type { Selectable } from 'kysely';
import { SeamwiseError } from '../../foundation/errors.ts';
import { amongIds } from './among-ids.ts';
import type { EditLog } from './edit-log.ts';
import { newId } from './new-id.ts';
import type { PlayerRecords } from './player-records.ts';
import {
  type Actor,
  type Connection,
  missing,
  requireNumber,
  requireOneOf,
  requireText,
  requireWhole,
  type StoreContext,
} from './store-context.ts';
import { type SessionTable, type SetFactorTable, type ShotSetTable, setKinds } from './tables.ts';

export type Session = Selectable<SessionTable>;
export type ShotSet = Selectable<ShotSetTable>;
export type SetFactor = Pick<Selectable<SetFactorTable>, 'factor' | 'level'>;

export type SetWithFactors = ShotSet & { readonly factors: readonly SetFactor[] };

/** A session in a list, with its counts. */
export interface SessionLine extends Session {
  readonly shotCount: number;
  readonly setCount: number;
}

export interface SessionWords {
  readonly name: string;
  readonly timeZone: string;
  readonly simulated: boolean;
  readonly recording: string | null;
  readonly settings: unknown;
}

export type SetWords = Pick<ShotSet, 'player_id' | 'kind' | 'name' | 'spot' | 'distance_m' | 'notes'>;

const usualSet: SetWords = { player_id: null, kind: 'free', name: '', spot: '', distance_m: null, notes: '' };

/** Sessions and the sets in them. */
export class SessionRecords {
  readonly #context: StoreContext;
  readonly #edits: EditLog;
  readonly #players: PlayerRecords;

  constructor(context: StoreContext, edits: EditLog, players: PlayerRecords) {
    this.#context = context;
    this.#edits = edits;
    this.#players = players;
  }

  /** @returns the id. */
  async start(actor: Actor, words: SessionWords): Promise<string> {
    const { clubId, nowS } = this.#context;
    const row: Session = {
      id: newId(nowS()),
      club_id: clubId,
      name: requireText('name of the session', words.name, { most: 120 }),
      started_s: nowS(),
      ended_s: null,
      time_zone: requireText('time zone', words.timeZone, { least: 1, most: 60 }),
      simulated: words.simulated ? 1 : 0,
      starred: 0,
      recording: words.recording,
      notes: '',
      settings: JSON.stringify(words.settings),
      analysed_version: null,
      recording_deleted_s: null,
    };
    await this.#edits.make(actor, 'start session', (batch) => batch.insert('session', row));
    return row.id;
  }

  /** @throws SeamwiseError `store-missing` or `store-value`. */
  async change(actor: Actor, id: string, change: { name?: string; notes?: string; starred?: boolean }): Promise<void> {
    await this.#edits.make(actor, 'change session', async (batch) => {
      await batch.change('session', id, {
        ...(change.name !== undefined && { name: requireText('name of the session', change.name, { most: 120 }) }),
        ...(change.notes !== undefined && { notes: requireText('notes', change.notes, { most: 4000 }) }),
        ...(change.starred !== undefined && { starred: change.starred ? 1 : 0 }),
      });
    });
  }

  /** Ends a session with the sets and rounds that still run in it. @param atS when it ended; now by default. */
  async end(actor: Actor, id: string, atS = this.#context.nowS()): Promise<void> {
    await this.#edits.make(actor, 'end session', async (batch) => {
      const { started_s } = await batch.change('session', id, {});
      const ended_s = Math.max(started_s, atS);
      for (const table of ['shot_set', 'rotation'] as const) {
        const running = await batch.trx
          .selectFrom(table)
          .select(['id', 'started_s'])
          .where('session_id', '=', id)
          .where('ended_s', 'is', null)
          .execute();
        for (const each of running) await batch.change(table, each.id, { ended_s: Math.max(each.started_s, ended_s) });
      }
      await batch.change('session', id, { ended_s });
    });
  }

  /** @returns the session that runs, or null. */
  async running(): Promise<Session | null> {
    return (await this.openOnes()).at(-1) ?? null;
  }

  /** @returns the last instant of which a session has something: its newest shot or mark, or its start. */
  async lastHeardOfS(id: string): Promise<number> {
    const { db } = this.#context;
    const { started_s } = await this.get(id);
    const latest = await Promise.all(
      (['shot', 'mark'] as const).map((table) =>
        db
          .selectFrom(table)
          .select(({ fn }) => fn.max('at_s').as('at_s'))
          .where('session_id', '=', id)
          .executeTakeFirst(),
      ),
    );
    return Math.max(started_s, ...latest.map((row) => row?.at_s ?? started_s));
  }

  /** Takes away a session that has no shots, as if it had never been. */
  async discard(id: string): Promise<void> {
    await this.#context.write(async (trx) => {
      await trx.deleteFrom('edit').where('row_id', '=', id).execute();
      await trx.deleteFrom('session').where('id', '=', id).where('club_id', '=', this.#context.clubId).execute();
    });
  }

  /** Says when a session that was recorded elsewhere began and ended. */
  async changeTimes(id: string, startedS: number, endedS: number): Promise<void> {
    const { db, clubId } = this.#context;
    await db
      .updateTable('session')
      .set({ started_s: startedS, ended_s: endedS })
      .where('id', '=', id)
      .where('club_id', '=', clubId)
      .execute();
  }

  /** @throws SeamwiseError `store-missing` */
  async get(id: string): Promise<Session> {
    const { db, clubId } = this.#context;
    const row = await db
      .selectFrom('session')
      .selectAll()
      .where('id', '=', id)
      .where('club_id', '=', clubId)
      .executeTakeFirst();
    if (!row) throw missing('session', id);
    return row;
  }

  /**
   * @param page `beforeS` the start of the last session of the page before.
   * @returns sessions, newest first.
   */
  async list({ beforeS = Number.POSITIVE_INFINITY, limit = 50 } = {}): Promise<SessionLine[]> {
    const { db, clubId } = this.#context;
    let query = db.selectFrom('session').selectAll('session').where('club_id', '=', clubId);
    if (Number.isFinite(beforeS)) query = query.where('started_s', '<', beforeS);
    const rows = await query
      .orderBy('started_s', 'desc')
      .orderBy('id', 'desc')
      .limit(requireWhole('number of sessions', limit, 1, 1000))
      .execute();
    const ids = rows.map(({ id }) => id);
    // All sessions at once: one look into each part of the shots, where one for each session would be as many times that.
    const [shots, sets] = [await this.#countOf('shot', ids), await this.#countOf('shot_set', ids)];
    return rows.map((session) => ({
      ...session,
      shotCount: shots.get(session.id) ?? 0,
      setCount: sets.get(session.id) ?? 0,
    }));
  }

  async #countOf(table: 'shot' | 'shot_set', sessionIds: readonly string[]): Promise<ReadonlyMap<string, number>> {
    const { db, clubId } = this.#context;
    const rows = await db
      .selectFrom(table as 'shot')
      .select(['session_id', ({ fn }) => fn.countAll().as('count')])
      .where('club_id', '=', clubId)
      .where(amongIds(db, 'session_id', sessionIds))
      .groupBy('session_id')
      .execute();
    return new Map(rows.map(({ session_id, count }) => [session_id, Number(count)]));
  }

  /** @returns sessions that have a recording and have ended, oldest first. */
  async withRecordings(): Promise<Session[]> {
    return (await this.recorded()).filter(({ ended_s }) => ended_s !== null);
  }

  /** @returns sessions that have a recording, oldest first, those that still run among them. */
  async recorded(): Promise<Session[]> {
    const { db, clubId } = this.#context;
    const sessions = db.selectFrom('session').selectAll().where('club_id', '=', clubId);
    return sessions.where('recording', 'is not', null).orderBy('started_s').orderBy('id').execute();
  }

  /** Takes note that a session's recording could not be made. */
  async forgetRecording(id: string): Promise<void> {
    const { db, clubId } = this.#context;
    const session = db.updateTable('session').set({ recording: null }).where('id', '=', id);
    await session.where('club_id', '=', clubId).execute();
  }

  /** @returns sessions that were begun and not ended. */
  async openOnes(): Promise<Session[]> {
    const { db, clubId } = this.#context;
    const open = db.selectFrom('session').selectAll().where('club_id', '=', clubId).where('ended_s', 'is', null);
    return open.orderBy('started_s').orderBy('id').execute();
  }

  /** @returns the id. @throws SeamwiseError `store-missing`, `store-value` or `no-consent`. */
  async startSet(
    actor: Actor,
    sessionId: string,
    words: Partial<SetWords> = {},
    factors: readonly SetFactor[] = [],
  ): Promise<string> {
    const { clubId, nowS } = this.#context;
    await this.get(sessionId);
    const told = { ...usualSet, ...checkedSet(words) };
    const twice = factors.find(
      ({ factor }, at) => factors.findIndex((other) => other.factor.trim() === factor.trim()) < at,
    );
    if (twice) {
      throw new SeamwiseError(
        'store-value',
        `conditions of the set: expected each once, "${twice.factor}" came twice; name one level of it`,
      );
    }
    const row: ShotSet = {
      ...told,
      id: newId(nowS()),
      club_id: clubId,
      session_id: sessionId,
      started_s: nowS(),
      ended_s: null,
      total_made: null,
      total_attempted: null,
    };
    await this.#edits.make(actor, 'start set', async (batch) => {
      await this.#requirePlayer(batch.trx, words);
      await batch.insert('shot_set', row);
      for (const factor of factors) await batch.insert('set_factor', this.#factorRow(row.id, factor));
    });
    return row.id;
  }

  /** @throws SeamwiseError `store-missing`, `store-value` or `no-consent`. */
  async changeSet(
    actor: Actor,
    setId: string,
    change: Partial<SetWords> & { ended?: boolean; total?: { made: number; attempted: number } | null },
  ): Promise<void> {
    const { ended, total, ...words } = change;
    const told = checkedSet(words);
    await this.#edits.make(actor, 'change set', async (batch) => {
      await this.#requirePlayer(batch.trx, words);
      await batch.change('shot_set', setId, {
        ...told,
        ...(ended !== undefined && { ended_s: ended ? this.#context.nowS() : null }),
        ...(total !== undefined && checkedTotal(total)),
      });
    });
  }

  /** Says at which level of a condition the set is shot; null takes the condition away. */
  async setFactor(actor: Actor, setId: string, factor: string, level: string | null): Promise<void> {
    const name = requireText('condition', factor, { least: 1, most: 60 });
    await this.set(setId);
    await this.#edits.make(actor, `condition ${name}`, async (batch) => {
      const known = await batch.trx
        .selectFrom('set_factor')
        .selectAll()
        .where('set_id', '=', setId)
        .where('factor', '=', name)
        .executeTakeFirst();
      if (level === null) {
        if (known) await batch.remove('set_factor', known.id);
      } else if (known) await batch.change('set_factor', known.id, { level: checkedLevel(level) });
      else await batch.insert('set_factor', this.#factorRow(setId, { factor: name, level }));
    });
  }

  /** @returns sets of a session, first one first, with their conditions. */
  async sets(sessionId: string): Promise<SetWithFactors[]> {
    const { db, clubId } = this.#context;
    const sets = db
      .selectFrom('shot_set')
      .selectAll()
      .where('session_id', '=', sessionId)
      .where('club_id', '=', clubId);
    return this.#withFactors(await sets.orderBy('started_s').orderBy('id').execute());
  }

  /** @returns sets that have a level of a condition, first one first. */
  async setsWithFactor(factor: string): Promise<SetWithFactors[]> {
    const { db, clubId } = this.#context;
    const withIt = db.selectFrom('set_factor').select('set_id').where('factor', '=', factor);
    const sets = db.selectFrom('shot_set').selectAll().where('club_id', '=', clubId).where('id', 'in', withIt);
    return this.#withFactors(await sets.orderBy('started_s').orderBy('id').execute());
  }

  /** @throws SeamwiseError `store-missing` */
  async set(setId: string): Promise<SetWithFactors> {
    const { db, clubId } = this.#context;
    const sets = db.selectFrom('shot_set').selectAll().where('id', '=', setId).where('club_id', '=', clubId);
    const [set] = await this.#withFactors(await sets.execute());
    if (!set) throw missing('set', setId);
    return set;
  }

  async #withFactors(sets: readonly ShotSet[]): Promise<SetWithFactors[]> {
    if (sets.length === 0) return [];
    const ids = sets.map(({ id }) => id);
    const factors = await this.#context.db
      .selectFrom('set_factor')
      .selectAll()
      .where('set_id', 'in', ids)
      .orderBy('factor')
      .execute();
    return sets.map((set) => ({
      ...set,
      factors: factors.filter((each) => each.set_id === set.id).map(({ factor, level }) => ({ factor, level })),
    }));
  }

  #factorRow(setId: string, { factor, level }: SetFactor): Selectable<SetFactorTable> {
    const { clubId, nowS } = this.#context;
    return {
      id: newId(nowS()),
      club_id: clubId,
      set_id: setId,
      factor: requireText('condition', factor, { least: 1, most: 60 }),
      level: checkedLevel(level),
    };
  }

  async #requirePlayer(trx: Connection, { player_id }: Partial<SetWords>): Promise<void> {
    if (player_id !== undefined && player_id !== null) {
      await this.#players.requireConsent(player_id, 'record', trx);
    }
  }
}

function checkedSet(words: Partial<SetWords>): Partial<SetWords> {
  const { player_id, kind, name, spot, distance_m, notes } = words;
  return {
    ...(player_id !== undefined && { player_id }),
    ...(kind !== undefined && { kind: requireOneOf('kind of the set', kind, setKinds) }),
    ...(name !== undefined && { name: requireText('name of the set', name, { most: 120 }) }),
    ...(spot !== undefined && { spot: requireText('spot', spot, { most: 60 }) }),
    ...(distance_m !== undefined && {
      distance_m: distance_m === null ? null : requireNumber('distance in m', distance_m, 0.5, 30),
    }),
    ...(notes !== undefined && { notes: requireText('notes', notes, { most: 4000 }) }),
  };
}

function checkedLevel(level: string): string {
  return requireText('level of the condition', level, { least: 1, most: 60 });
}

function checkedTotal(total: { made: number; attempted: number } | null) {
  if (total === null) return { total_made: null, total_attempted: null };
  const attempted = requireWhole('shots taken', total.attempted, 0, 100_000);
  if (!(Number.isInteger(total.made) && total.made >= 0 && total.made <= attempted)) {
    throw new SeamwiseError(
      'store-value',
      `${total.made} shots made of ${attempted}: expected a whole number from 0 to ${attempted}`,
    );
  }
  return { total_made: total.made, total_attempted: attempted };
}
