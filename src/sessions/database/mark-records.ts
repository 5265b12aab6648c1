import type { Selectable } from 'kysely';
import type { EditLog } from './edit-log.ts';
import { newId } from './new-id.ts';
import { type Actor, requireNumber, requireOneOf, requireText, type StoreContext } from './store-context.ts';
import { type MarkTable, markOrigins } from './tables.ts';

export type Mark = Selectable<MarkTable>;

/** A mark as it is set; times in seconds, host time since the Unix epoch. */
export interface MarkWords {
  readonly atS: number;
  readonly uncertaintyS: number;
  readonly origin: Mark['origin'];
  readonly name?: string;
  /** With taps on a sensor: where on its own clock they were. */
  readonly sensor?: { readonly sensorId: string; readonly streamIndex: number; readonly sensorTimeS: number };
}

/** Synchronisation marks of sessions. */
export class MarkRecords {
  readonly #context: StoreContext;
  readonly #edits: EditLog;

  constructor(context: StoreContext, edits: EditLog) {
    this.#context = context;
    this.#edits = edits;
  }

  /** @returns the mark as it is stored. @throws SeamwiseError `store-value`. */
  async add(actor: Actor, sessionId: string, words: MarkWords): Promise<Mark> {
    const { clubId, nowS } = this.#context;
    const row: Mark = {
      id: newId(nowS()),
      club_id: clubId,
      session_id: sessionId,
      at_s: requireNumber('instant of the mark in s', words.atS, 0, 1e11),
      uncertainty_s: requireNumber('uncertainty of the mark in s', words.uncertaintyS, 0, 3600),
      clock: words.sensor ? 'sensor' : 'host',
      origin: requireOneOf('origin of the mark', words.origin, markOrigins),
      sensor_id: words.sensor?.sensorId ?? null,
      stream_index: words.sensor?.streamIndex ?? null,
      sensor_time_s: words.sensor?.sensorTimeS ?? null,
      name: requireText('name of the mark', words.name ?? '', { most: 120 }),
    };
    await this.#edits.make(actor, 'set mark', (batch) => batch.insert('mark', row));
    return row;
  }

  /** @returns the mark as it is now. @throws SeamwiseError `store-missing` or `store-value`. */
  rename(actor: Actor, id: string, name: string): Promise<Mark> {
    const words = { name: requireText('name of the mark', name, { most: 120 }) };
    return this.#edits.make(actor, 'rename mark', (batch) => batch.change('mark', id, words));
  }

  /** @throws SeamwiseError `store-missing`. */
  async remove(actor: Actor, id: string): Promise<void> {
    await this.#edits.make(actor, 'remove mark', (batch) => batch.remove('mark', id));
  }

  /** @returns the marks of a session in the order of their time. */
  async list(sessionId: string): Promise<Mark[]> {
    const { db, clubId } = this.#context;
    const marks = db.selectFrom('mark').selectAll().where('session_id', '=', sessionId).where('club_id', '=', clubId);
    return marks.orderBy('at_s').orderBy('id').execute();
  }
}
