import type { Selectable } from 'kysely';
import type { Drill } from '../../coaching/drills.ts';
import { SeamwiseError } from '../../foundation/errors.ts';
import type { LoadEntryTable, PlayerTargetTable } from './coaching-tables.ts';
import type { EditLog } from './edit-log.ts';
import { keyedId } from './keyed-id.ts';
import { newId } from './new-id.ts';
import type { PlayerRecords } from './player-records.ts';
import {
  type Actor,
  type Connection,
  missing,
  requireNumber,
  requireText,
  requireWhole,
  type StoreContext,
} from './store-context.ts';
import type { ShotSetTable } from './tables.ts';

export type PlayerTarget = Selectable<PlayerTargetTable>;
export type LoadEntry = Selectable<LoadEntryTable>;

/** A band as a coach sets it; a side that is null or left out is not limited by hand. */
export interface TargetWords {
  readonly target: number | null;
  readonly low: number | null;
  readonly high: number | null;
}

/** A drill of the coach's own; its id stands as its name. */
export interface OwnDrill {
  readonly id: string;
  readonly drill: Drill;
  readonly retiredS: number | null;
}

/** A set with what one player shot in it. */
export interface ShotSetLine {
  readonly set: Selectable<ShotSetTable>;
  readonly shots: number;
  readonly makes: number;
  readonly misses: number;
}

/** Targets, best sets, own drills, and load told by hand. */
export class CoachingRecords {
  readonly #context: StoreContext;
  readonly #edits: EditLog;
  readonly #players: PlayerRecords;

  constructor(context: StoreContext, edits: EditLog, players: PlayerRecords) {
    this.#context = context;
    this.#edits = edits;
    this.#players = players;
  }

  async targets(playerId: string, connection: Connection = this.#context.db): Promise<PlayerTarget[]> {
    const { clubId } = this.#context;
    const rows = connection.selectFrom('player_target').selectAll().where('player_id', '=', playerId);
    return rows.where('club_id', '=', clubId).orderBy('measure').execute();
  }

  /** Sets a band by hand; null takes it away. @throws SeamwiseError `store-missing` or `store-value`. */
  async setTarget(actor: Actor, playerId: string, measure: string, words: TargetWords | null): Promise<void> {
    const { pseudonym } = await this.#players.get(playerId);
    const name = requireText('measure', measure, { least: 1, most: 60 });
    const row = words === null ? null : checkedTarget(name, words);
    await this.#edits.make(actor, `target of ${pseudonym}: ${name}`, async (batch) => {
      const known = (await this.targets(playerId, batch.trx)).find((each) => each.measure === name);
      if (row === null) {
        if (known) await batch.remove('player_target', known.id);
      } else if (known) await batch.change('player_target', known.id, row);
      else {
        const id = keyedId('player_target', playerId, name);
        await batch.insert('player_target', {
          ...{ id, club_id: this.#context.clubId, player_id: playerId, measure: name },
          ...row,
        });
      }
    });
  }

  /** @returns ids of the sets that were called the player's best. */
  async bestSets(playerId: string): Promise<string[]> {
    const { db, clubId } = this.#context;
    const rows = db.selectFrom('best_set').select('set_id').where('player_id', '=', playerId);
    return (await rows.where('club_id', '=', clubId).orderBy('set_id').execute()).map(({ set_id }) => set_id);
  }

  /** @returns sets with shots of the player, newest first, with how many and what was counted of them. */
  async setsShotBy(playerId: string, most: number): Promise<ShotSetLine[]> {
    const { db, clubId } = this.#context;
    const counted = db
      .selectFrom('shot')
      .select(({ fn }) => ['set_id', 'outcome', fn.countAll<number>().as('count')])
      .where('player_id', '=', playerId)
      .where('club_id', '=', clubId)
      .where('set_id', 'is not', null);
    const counts = await counted.groupBy(['set_id', 'outcome']).execute();
    const ids = [...new Set(counts.flatMap(({ set_id }) => (set_id === null ? [] : [set_id])))];
    if (ids.length === 0) return [];
    const sets = db.selectFrom('shot_set').selectAll().where('club_id', '=', clubId).where('id', 'in', ids);
    const newest = await sets.orderBy('started_s', 'desc').orderBy('id', 'desc').limit(most).execute();
    return newest.map((set) => {
      const own = counts.filter(({ set_id }) => set_id === set.id);
      const of = (outcome: string) => own.find((row) => row.outcome === outcome)?.count ?? 0;
      return { set, shots: of('make') + of('miss') + of('unknown'), makes: of('make'), misses: of('miss') };
    });
  }

  /** Says which sets were the player's best, in place of those that were. @throws SeamwiseError `store-missing`. */
  async setBestSets(actor: Actor, playerId: string, setIds: readonly string[]): Promise<void> {
    const { db, clubId } = this.#context;
    const { pseudonym } = await this.#players.get(playerId);
    const wanted = [...new Set(setIds)];
    for (const setId of wanted) {
      const set = db.selectFrom('shot_set').select('id').where('id', '=', setId).where('club_id', '=', clubId);
      if (!(await set.executeTakeFirst())) throw missing('set', setId);
    }
    await this.#edits.make(actor, `best sets of ${pseudonym}`, async (batch) => {
      const all = batch.trx.selectFrom('best_set').selectAll().where('player_id', '=', playerId);
      const before = await all.where('club_id', '=', clubId).execute();
      for (const row of before) if (!wanted.includes(row.set_id)) await batch.remove('best_set', row.id);
      for (const setId of wanted) {
        if (before.some(({ set_id }) => set_id === setId)) continue;
        const id = keyedId('best_set', playerId, setId);
        const row = { id, club_id: clubId, player_id: playerId, set_id: setId };
        await batch.insert('best_set', row);
      }
    });
  }

  /** @returns own drills, oldest first. */
  async drills(): Promise<OwnDrill[]> {
    const { db, clubId } = this.#context;
    const rows = db.selectFrom('own_drill').selectAll().where('club_id', '=', clubId).orderBy('made_s').orderBy('id');
    return (await rows.execute()).map(({ id, document, retired_s }) => ({
      id,
      drill: { ...(JSON.parse(document) as Drill), name: id },
      retiredS: retired_s,
    }));
  }

  /** @param drill whose words were checked; its name is given here. @returns the id. */
  async addDrill(actor: Actor, drill: Omit<Drill, 'name'>): Promise<string> {
    const { clubId, nowS } = this.#context;
    const id = newId(nowS());
    await this.#edits.make(actor, `add drill ${drill.title}`, (batch) =>
      batch.insert('own_drill', {
        ...{ id, club_id: clubId, document: JSON.stringify(drill), made_s: nowS(), retired_s: null },
      }),
    );
    return id;
  }

  /** @throws SeamwiseError `store-missing` */
  async changeDrill(
    actor: Actor,
    id: string,
    change: { drill?: Omit<Drill, 'name'>; retired?: boolean },
  ): Promise<void> {
    await this.#edits.make(actor, 'change drill', async (batch) => {
      await batch.change('own_drill', id, {
        ...(change.drill !== undefined && { document: JSON.stringify(change.drill) }),
        ...(change.retired !== undefined && { retired_s: change.retired ? this.#context.nowS() : null }),
      });
    });
  }

  /** @returns what was told by hand, oldest day first. */
  async loadEntries(playerId: string, connection: Connection = this.#context.db): Promise<LoadEntry[]> {
    const { clubId } = this.#context;
    const rows = connection.selectFrom('load_entry').selectAll().where('player_id', '=', playerId);
    return rows.where('club_id', '=', clubId).orderBy('date').execute();
  }

  /** Tells shots and minutes of a day that no sensor saw; null takes them away. @throws SeamwiseError `store-missing` or `store-value`. */
  async setLoad(
    actor: Actor,
    playerId: string,
    date: string,
    words: { readonly shots: number; readonly minutes: number } | null,
  ): Promise<void> {
    const { clubId } = this.#context;
    const { pseudonym } = await this.#players.get(playerId);
    requireDate(date);
    const row = words && {
      shots: requireWhole('shots of the day', words.shots, 0, 10_000),
      minutes: requireNumber('minutes of the day', words.minutes, 0, 1440),
    };
    await this.#edits.make(actor, `load of ${pseudonym} on ${date}`, async (batch) => {
      const known = (await this.loadEntries(playerId, batch.trx)).find((each) => each.date === date);
      if (row === null) {
        if (known) await batch.remove('load_entry', known.id);
      } else if (known) await batch.change('load_entry', known.id, row);
      else {
        const id = keyedId('load_entry', playerId, date);
        await batch.insert('load_entry', { id, club_id: clubId, player_id: playerId, date, ...row });
      }
    });
  }
}

function checkedTarget(measure: string, { target, low, high }: TargetWords): TargetWords {
  for (const value of [target, low, high]) if (value !== null) requireNumber(`band of ${measure}`, value, -1e4, 1e4);
  const rising = [low, target, high].filter((value): value is number => value !== null);
  if (rising.some((value, i) => i > 0 && value < rising[i - 1]!)) {
    throw new SeamwiseError(
      'store-value',
      `band of ${measure}: expected low, target and high in rising order, got ${rising.join(', ')}`,
    );
  }
  if (low === null && high === null) {
    throw new SeamwiseError('store-value', `band of ${measure}: expected low, high or both; null takes the band away`);
  }
  return { target, low, high };
}

/** @throws SeamwiseError `store-value` unless the text is a day of the calendar. */
export function requireDate(date: string): string {
  const instant = Date.parse(`${date}T00:00:00Z`);
  const isDay = /^\d{4}-\d{2}-\d{2}$/.test(date) && Number.isFinite(instant);
  if (!isDay || new Date(instant).toISOString().slice(0, 10) !== date) {
    throw new SeamwiseError(
      'store-value',
      `date ${JSON.stringify(date.slice(0, 40))}: expected a day such as 2026-11-28`,
    );
  }
  return date;
}
