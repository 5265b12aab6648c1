import type { Selectable } from 'kysely';
import { SeamwiseError } from '../../foundation/errors.ts';
import type { EditLog } from './edit-log.ts';
import { newId } from './new-id.ts';
import type { PlayerRecords } from './player-records.ts';
import { type Actor, type Connection, missing, requireWhole, type StoreContext } from './store-context.ts';
import type { RotationTable } from './tables.ts';

/** A roster that shoots in turn. */
export interface Rotation extends Selectable<RotationTable> {
  /** In the order of their turns. */
  readonly playerIds: readonly string[];
  /** Whose turn it is. */
  readonly nextPlayerId: string | null;
}

export interface RotationWords {
  readonly playerIds: readonly string[];
  readonly shotsEach: number;
  /** The ball that goes round; without one, every sensor that is nobody's. */
  readonly sensorId?: string | null;
}

const mostPlayers = 60;

/** Rounds of players: whose turn it is follows from the shots as they come, and a coach may move it. */
export class RotationRecords {
  readonly #context: StoreContext;
  readonly #edits: EditLog;
  readonly #players: PlayerRecords;

  constructor(context: StoreContext, edits: EditLog, players: PlayerRecords) {
    this.#context = context;
    this.#edits = edits;
    this.#players = players;
  }

  /**
   * Begins a round; one that runs for the same ball in this session ends with it.
   *
   * @returns the id. @throws SeamwiseError `store-missing`, `store-value` or `no-consent`.
   */
  async start(actor: Actor, sessionId: string, { playerIds, shotsEach, sensorId }: RotationWords): Promise<string> {
    const { db, clubId, nowS } = this.#context;
    requireWhole('number of players of the round', playerIds.length, 1, mostPlayers);
    const twice = playerIds.find((id, place) => playerIds.indexOf(id) !== place);
    if (twice !== undefined) {
      const { pseudonym } = await this.#players.get(twice);
      throw new SeamwiseError('store-value', `${pseudonym} stands in the round twice: expected each player once`);
    }
    const session = db.selectFrom('session').select('id').where('id', '=', sessionId).where('club_id', '=', clubId);
    if (!(await session.executeTakeFirst())) throw missing('session', sessionId);
    const row: Selectable<RotationTable> = {
      id: newId(nowS()),
      club_id: clubId,
      session_id: sessionId,
      sensor_id: sensorId ?? null,
      shots_each: requireWhole('shots of each player', shotsEach, 1, 1000),
      turn: 0,
      shots_in_turn: 0,
      started_s: nowS(),
      ended_s: null,
    };
    if (row.sensor_id !== null && !(await this.#players.sensors()).some(({ id }) => id === row.sensor_id)) {
      throw missing('sensor', row.sensor_id);
    }
    await this.#edits.make(actor, 'start round', async (batch) => {
      for (const id of playerIds) await this.#players.requireConsent(id, 'record', batch.trx);
      for (const { id, sensor_id } of await runningRotations(batch.trx, clubId, sessionId)) {
        if (sensor_id === row.sensor_id) await batch.change('rotation', id, { ended_s: nowS() });
      }
      await batch.insert('rotation', row);
      for (const [place, player_id] of playerIds.entries()) {
        const id = newId(nowS());
        await batch.insert('rotation_player', { id, club_id: clubId, rotation_id: row.id, place, player_id });
      }
    });
    return row.id;
  }

  /** Moves the turn on or back, or ends the round. @throws SeamwiseError `store-missing` or `store-value`. */
  async change(actor: Actor, id: string, change: { turn?: number; ended?: boolean }): Promise<void> {
    const { turn, ended } = change;
    await this.#edits.make(actor, ended ? 'end round' : 'move the turn', async (batch) => {
      await batch.change('rotation', id, {
        ...(turn !== undefined && { turn: requireWhole('turn', turn, 0, 1e9), shots_in_turn: 0 }),
        ...(ended !== undefined && { ended_s: ended ? this.#context.nowS() : null }),
      });
    });
  }

  /** @throws SeamwiseError `store-missing` */
  async get(id: string): Promise<Rotation> {
    const { db, clubId } = this.#context;
    const rows = db.selectFrom('rotation').selectAll().where('id', '=', id).where('club_id', '=', clubId);
    const row = await rows.executeTakeFirst();
    if (!row) throw missing('rotation', id);
    return withPlayers(db, row);
  }

  /** @returns rounds of a session that have not ended, first one first. */
  async running(sessionId: string): Promise<Rotation[]> {
    return runningRotations(this.#context.db, this.#context.clubId, sessionId);
  }
}

/** @returns rounds of a session that have not ended, first one first. */
export async function runningRotations(db: Connection, clubId: string, sessionId: string): Promise<Rotation[]> {
  const rows = await db
    .selectFrom('rotation')
    .selectAll()
    .where('session_id', '=', sessionId)
    .where('club_id', '=', clubId)
    .where('ended_s', 'is', null)
    .orderBy('started_s')
    .orderBy('id')
    .execute();
  return Promise.all(rows.map((row) => withPlayers(db, row)));
}

async function withPlayers(db: Connection, row: Selectable<RotationTable>): Promise<Rotation> {
  const players = await db
    .selectFrom('rotation_player')
    .select('player_id')
    .where('rotation_id', '=', row.id)
    .orderBy('place')
    .execute();
  const playerIds = players.map(({ player_id }) => player_id);
  return { ...row, playerIds, nextPlayerId: playerIds[row.turn % Math.max(1, playerIds.length)] ?? null };
}
