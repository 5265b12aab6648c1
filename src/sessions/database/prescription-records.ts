import type { Selectable } from 'kysely';
import type { Drill } from '../../coaching/drills.ts';
import { SeamwiseError } from '../../foundation/errors.ts';
import { blockRoles, type PrescriptionTable, type ProofBlockTable } from './coaching-tables.ts';
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
  type StoreContext,
} from './store-context.ts';
import type { ShotSetTable } from './tables.ts';

export interface Prescription extends Omit<Selectable<PrescriptionTable>, 'drill'> {
  readonly drill: Drill;
}

/** A block with the set that it is. */
export interface BlockWithSet extends Selectable<ProofBlockTable> {
  readonly set: Selectable<ShotSetTable>;
}

export interface PrescriptionWords {
  readonly playerId: string;
  readonly fault: string;
  readonly drill: Drill;
  readonly measure: string;
  readonly faultSide: 1 | -1;
  readonly smallestChange: number;
  readonly namedS: number;
  readonly retentionDueS: number | null;
  readonly notes: string;
}

/** Drills given to players, and the blocks by which they are proved. */
export class PrescriptionRecords {
  readonly #context: StoreContext;
  readonly #edits: EditLog;
  readonly #players: PlayerRecords;

  constructor(context: StoreContext, edits: EditLog, players: PlayerRecords) {
    this.#context = context;
    this.#edits = edits;
    this.#players = players;
  }

  /** @returns the id. @throws SeamwiseError `store-missing`, `store-value` or `no-consent`. */
  async add(actor: Actor, words: PrescriptionWords): Promise<string> {
    const { clubId, nowS } = this.#context;
    const { pseudonym } = await this.#players.get(words.playerId);
    const id = newId(nowS());
    const row = {
      id,
      club_id: clubId,
      player_id: words.playerId,
      fault: requireText('fault', words.fault, { least: 1, most: 60 }),
      drill: JSON.stringify(words.drill),
      measure: requireText('measure', words.measure, { least: 1, most: 60 }),
      fault_side: words.faultSide,
      smallest_change: requireNumber('smallest change that matters', words.smallestChange, 1e-6, 1e4),
      made_s: nowS(),
      named_s: requireNumber('when the fault was named', words.namedS, 0, nowS() + 86_400),
      retention_due_s:
        words.retentionDueS === null ? null : requireNumber('retention test', words.retentionDueS, 0, 1e11),
      ended_s: null,
      notes: requireText('notes', words.notes, { most: 4000 }),
    };
    await this.#edits.make(actor, `prescribe for ${pseudonym}`, async (batch) => {
      // It is proved by shots, which may only be kept with consent.
      await this.#players.requireConsent(words.playerId, 'record', batch.trx);
      await batch.insert('prescription', row);
    });
    return id;
  }

  /** @throws SeamwiseError `store-missing` or `store-value`. */
  async change(
    actor: Actor,
    id: string,
    change: { readonly ended?: boolean; readonly retentionDueS?: number | null; readonly notes?: string },
  ): Promise<void> {
    const { ended, retentionDueS, notes } = change;
    await this.#edits.make(actor, 'change prescription', async (batch) => {
      await batch.change('prescription', id, {
        ...(ended !== undefined && { ended_s: ended ? this.#context.nowS() : null }),
        ...(retentionDueS !== undefined && {
          retention_due_s: retentionDueS === null ? null : requireNumber('retention test', retentionDueS, 0, 1e11),
        }),
        ...(notes !== undefined && { notes: requireText('notes', notes, { most: 4000 }) }),
      });
    });
  }

  /** @throws SeamwiseError `store-missing` */
  async get(id: string, connection: Connection = this.#context.db): Promise<Prescription> {
    const { clubId } = this.#context;
    const rows = connection.selectFrom('prescription').selectAll().where('id', '=', id).where('club_id', '=', clubId);
    const row = await rows.executeTakeFirst();
    if (!row) throw missing('prescription', id);
    return parsed(row);
  }

  /** @returns those of a player, oldest first. */
  async of(playerId: string): Promise<Prescription[]> {
    const { db, clubId } = this.#context;
    const rows = db.selectFrom('prescription').selectAll().where('player_id', '=', playerId);
    return (await rows.where('club_id', '=', clubId).orderBy('made_s').orderBy('id').execute()).map(parsed);
  }

  /** @returns blocks of a prescription in the order in which they were shot. */
  async blocks(prescriptionId: string, connection: Connection = this.#context.db): Promise<BlockWithSet[]> {
    const { clubId } = this.#context;
    const blocks = connection.selectFrom('proof_block').selectAll().where('prescription_id', '=', prescriptionId);
    const rows = await blocks.where('club_id', '=', clubId).execute();
    if (rows.length === 0) return [];
    const ids = rows.map(({ set_id }) => set_id);
    const sets = await connection.selectFrom('shot_set').selectAll().where('id', 'in', ids).execute();
    return rows
      .flatMap((row) => {
        const set = sets.find(({ id }) => id === row.set_id);
        return set ? [{ ...row, set }] : [];
      })
      .sort((a, b) => a.set.started_s - b.set.started_s || (a.id < b.id ? -1 : 1));
  }

  /**
   * Starts a block: a set of its own, in which the player's shots are from now on. Another block of the prescription that still runs
   * ends.
   *
   * @returns the id. @throws SeamwiseError `store-missing`, `store-value` or `no-consent`.
   */
  async startBlock(
    actor: Actor,
    prescriptionId: string,
    sessionId: string,
    words: { readonly role: string; readonly spot: string; readonly distanceM: number | null },
  ): Promise<string> {
    const { clubId, nowS } = this.#context;
    const prescription = await this.get(prescriptionId);
    const role = requireOneOf('kind of the block', words.role, blockRoles);
    const setId = newId(nowS());
    const id = newId(nowS());
    const set = {
      id: setId,
      club_id: clubId,
      session_id: sessionId,
      player_id: prescription.player_id,
      kind: role === 'drill' ? ('drill' as const) : ('test' as const),
      name: `${prescription.drill.title}: ${roleWords[role]}`.slice(0, 120),
      spot: requireText('spot', words.spot, { most: 60 }),
      distance_m: words.distanceM === null ? null : requireNumber('distance in m', words.distanceM, 0.5, 30),
      started_s: nowS(),
      ended_s: null,
      total_made: null,
      total_attempted: null,
      notes: '',
    };
    await this.#edits.make(actor, `start ${roleWords[role]}`, async (batch) => {
      if ((await this.get(prescriptionId, batch.trx)).ended_s !== null) {
        throw new SeamwiseError(
          'store-value',
          'the prescription is closed: expected one that is open, or open it again',
        );
      }
      await this.#players.requireConsent(prescription.player_id, 'record', batch.trx);
      for (const other of await this.blocks(prescriptionId, batch.trx)) {
        if (other.set.ended_s !== null) continue;
        await batch.change('shot_set', other.set_id, { ended_s: Math.max(other.set.started_s, nowS()) });
      }
      await batch.insert('shot_set', set);
      await batch.insert('proof_block', { id, club_id: clubId, prescription_id: prescriptionId, set_id: setId, role });
    });
    return id;
  }

  /** Ends a block, or opens it again. @returns the prescription. @throws SeamwiseError `store-missing`. */
  async endBlock(actor: Actor, blockId: string, ended: boolean): Promise<string> {
    const { db, clubId, nowS } = this.#context;
    const blocks = db.selectFrom('proof_block').selectAll().where('id', '=', blockId).where('club_id', '=', clubId);
    const block = await blocks.executeTakeFirst();
    if (!block) throw missing('block', blockId);
    await this.#edits.make(actor, ended ? 'end block' : 'open block again', async (batch) => {
      await batch.change('shot_set', block.set_id, { ended_s: ended ? nowS() : null });
    });
    return block.prescription_id;
  }
}

const roleWords = {
  baseline: 'baseline',
  drill: 'drill',
  retest: 're-test',
  retention: 'test of what was kept',
} as const;

function parsed({ drill, ...row }: Selectable<PrescriptionTable>): Prescription {
  return { ...row, drill: JSON.parse(drill) as Drill };
}
