import type { Insertable, Selectable } from 'kysely';
import { SeamwiseError } from '../../foundation/errors.ts';
import type { EditLog } from './edit-log.ts';
import { newId } from './new-id.ts';
import { hasAgreed } from './place-shot.ts';
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
import { ageBands, type ConsentTable, consentScopes, hands, type PlayerTable, type SensorTable } from './tables.ts';

export type Player = Selectable<PlayerTable>;
export type Consent = Selectable<ConsentTable>;
export type Sensor = Selectable<SensorTable>;
export type ConsentScope = (typeof consentScopes)[number];

/** What is told of a player. */
export type PlayerWords = Pick<
  Player,
  'pseudonym' | 'hand' | 'age_band' | 'ball_size' | 'hoop_height_m' | 'units' | 'notes'
>;

export const usualPlayer: PlayerWords = {
  pseudonym: '',
  hand: 'right',
  age_band: 'adult',
  ball_size: 7,
  hoop_height_m: 3.05,
  units: 'metric',
  notes: '',
};

/** Players, what they agreed to, and their sensors. */
export class PlayerRecords {
  readonly #context: StoreContext;
  readonly #edits: EditLog;

  constructor(context: StoreContext, edits: EditLog) {
    this.#context = context;
    this.#edits = edits;
  }

  async list(): Promise<Player[]> {
    const { db, clubId } = this.#context;
    return db.selectFrom('player').selectAll().where('club_id', '=', clubId).orderBy('pseudonym').execute();
  }

  /** @throws SeamwiseError `store-missing` */
  async get(id: string, connection: Connection = this.#context.db): Promise<Player> {
    const { clubId } = this.#context;
    const row = await connection
      .selectFrom('player')
      .selectAll()
      .where('id', '=', id)
      .where('club_id', '=', clubId)
      .executeTakeFirst();
    if (!row) throw missing('player', id);
    return row;
  }

  /** @returns the id. @throws SeamwiseError `store-value`, or `store-taken` for a pseudonym in use. */
  async add(actor: Actor, words: Partial<PlayerWords> & Pick<PlayerWords, 'pseudonym'>): Promise<string> {
    const { clubId, nowS } = this.#context;
    const row = { ...usualPlayer, ...checked(words), id: newId(nowS()), club_id: clubId, created_s: nowS() };
    await this.#edits.make(actor, `add player ${row.pseudonym}`, async (batch) => {
      await this.#requireFree(batch.trx, row.pseudonym, row.id);
      await batch.insert('player', row);
    });
    return row.id;
  }

  /** @throws SeamwiseError `store-missing`, `store-value` or `store-taken`. */
  async change(actor: Actor, id: string, words: Partial<PlayerWords>): Promise<void> {
    const change = checked(words);
    const { pseudonym } = await this.get(id);
    await this.#edits.make(actor, `change player ${pseudonym}`, async (batch) => {
      if (change.pseudonym !== undefined) await this.#requireFree(batch.trx, change.pseudonym, id);
      await batch.change('player', id, change);
    });
  }

  /** Notes that the player, or who may speak for the player, agreed. @returns the id. */
  async giveConsent(actor: Actor, playerId: string, scope: ConsentScope, givenByRole: string): Promise<string> {
    const { clubId, nowS } = this.#context;
    const { pseudonym } = await this.get(playerId);
    const row: Insertable<ConsentTable> = {
      id: newId(nowS()),
      club_id: clubId,
      player_id: playerId,
      scope: requireOneOf('scope of the consent', scope, consentScopes),
      granted_s: nowS(),
      given_by_role: requireText('who gave the consent', givenByRole, { least: 1 }),
      withdrawn_s: null,
    };
    await this.#edits.make(actor, `consent of ${pseudonym} to ${scope}`, (batch) => batch.insert('consent', row));
    return row.id;
  }

  /** Ends what is agreed to; what was recorded before stays until it is deleted. */
  async withdrawConsent(actor: Actor, playerId: string, scope: ConsentScope): Promise<void> {
    const { pseudonym } = await this.get(playerId);
    await this.#edits.make(actor, `${pseudonym} withdraws consent to ${scope}`, async (batch) => {
      for (const each of await this.consents(playerId, batch.trx)) {
        if (each.scope !== scope || each.withdrawn_s !== null) continue;
        await batch.change('consent', each.id, { withdrawn_s: this.#context.nowS() });
      }
    });
  }

  async consents(playerId: string, connection: Connection = this.#context.db): Promise<Consent[]> {
    const { clubId } = this.#context;
    const rows = connection
      .selectFrom('consent')
      .selectAll()
      .where('player_id', '=', playerId)
      .where('club_id', '=', clubId);
    return rows.orderBy('granted_s').orderBy('id').execute();
  }

  /**
   * @param connection that of the change that needs it: nobody then withdraws it before the change is made.
   * @throws SeamwiseError `no-consent` unless the player has agreed and not withdrawn it.
   */
  async requireConsent(
    playerId: string,
    scope: ConsentScope,
    connection: Connection = this.#context.db,
  ): Promise<void> {
    const { pseudonym } = await this.get(playerId, connection);
    const open = (await this.consents(playerId, connection)).some(
      (each) => each.scope === scope && each.withdrawn_s === null,
    );
    if (open) return;
    throw new SeamwiseError(
      'no-consent',
      `${pseudonym} has not agreed to ${consentWords[scope]}: note the consent, with who gave it, before going on`,
    );
  }

  /** @returns whether what a sensor sends may be recorded: not when its owner has not agreed to it. */
  async mayRecordSensor(sensorId: string): Promise<boolean> {
    const { db, clubId } = this.#context;
    const sensors = db.selectFrom('sensor').select('owner_player_id').where('id', '=', sensorId);
    const owner = (await sensors.where('club_id', '=', clubId).executeTakeFirst())?.owner_player_id ?? null;
    return owner === null || hasAgreed(db, clubId, owner);
  }

  /** Takes note of a sensor that sends; not a change of anybody's. */
  async seeSensor(sensor: Pick<Sensor, 'id' | 'placement' | 'description'>): Promise<void> {
    const { db, clubId, nowS } = this.#context;
    const seen = { last_seen_s: nowS(), description: sensor.description, placement: sensor.placement };
    const row = { ...seen, id: sensor.id, club_id: clubId, label: sensor.id.slice(0, 8), owner_player_id: null };
    await db
      .insertInto('sensor')
      .values({ ...row, first_seen_s: nowS() })
      .onConflict((conflict) => conflict.columns(['club_id', 'id']).doUpdateSet(seen))
      .execute();
  }

  async sensors(): Promise<Sensor[]> {
    const { db, clubId } = this.#context;
    return db.selectFrom('sensor').selectAll().where('club_id', '=', clubId).orderBy('label').orderBy('id').execute();
  }

  /** @throws SeamwiseError `store-missing` or `store-value`. */
  async changeSensor(
    actor: Actor,
    id: string,
    change: Partial<Pick<Sensor, 'label' | 'owner_player_id'>>,
  ): Promise<void> {
    const label =
      change.label === undefined
        ? {}
        : { label: requireText('label of the sensor', change.label, { least: 1, most: 60 }) };
    if (change.owner_player_id !== undefined && change.owner_player_id !== null) await this.get(change.owner_player_id);
    await this.#edits.make(actor, 'change sensor', (batch) => batch.change('sensor', id, { ...change, ...label }));
  }

  async #requireFree(trx: Connection, pseudonym: string, ownId: string): Promise<void> {
    const taken = await trx
      .selectFrom('player')
      .select('id')
      .where('club_id', '=', this.#context.clubId)
      .where('pseudonym', '=', pseudonym)
      .where('id', '!=', ownId)
      .executeTakeFirst();
    if (taken) {
      throw new SeamwiseError(
        'store-taken',
        `a player is called ${JSON.stringify(pseudonym)} already: choose another name`,
      );
    }
  }
}

const consentWords: Readonly<Record<ConsentScope, string>> = {
  record: 'being recorded',
  export: 'an export of own data',
  display: 'being shown on a shared screen',
  upload: "being handed over to the club's hub",
};

function checked(words: Partial<PlayerWords>): Partial<PlayerWords> {
  const { pseudonym, hand, age_band, ball_size, hoop_height_m, units, notes } = words;
  return {
    ...(pseudonym !== undefined && { pseudonym: requireText('pseudonym', pseudonym, { least: 1, most: 60 }) }),
    ...(hand !== undefined && { hand: requireOneOf('hand', hand, hands) }),
    ...(age_band !== undefined && { age_band: requireOneOf('age band', age_band, ageBands) }),
    ...(ball_size !== undefined && { ball_size: requireWhole('ball size', ball_size, 5, 7) }),
    ...(hoop_height_m !== undefined && { hoop_height_m: requireNumber('hoop height in m', hoop_height_m, 1.5, 4) }),
    ...(units !== undefined && { units: requireOneOf('units', units, ['metric', 'us'] as const) }),
    ...(notes !== undefined && { notes: requireText('notes', notes, { most: 4000 }) }),
  };
}
