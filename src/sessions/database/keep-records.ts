import type { EditLog } from './edit-log.ts';
import { newId } from './new-id.ts';
import { type Actor, type Connection, requireNumber, type StoreContext } from './store-context.ts';

/** How long recordings are kept. Null sets no bound; recordings of starred sessions are always kept. */
export interface KeepPolicy {
  /** Recordings of sessions that began longer ago than this many days go. */
  readonly days: number | null;
  /** While all recordings together take more bytes than this, the oldest goes. */
  readonly bytes: number | null;
}

export const keepEverything: KeepPolicy = { days: null, bytes: null };

const choiceName = 'keep-recordings';

/** What the club has chosen to keep, and which recordings were let go. */
export class KeepRecords {
  readonly #context: StoreContext;
  readonly #edits: EditLog;

  constructor(context: StoreContext, edits: EditLog) {
    this.#context = context;
    this.#edits = edits;
  }

  async policy(): Promise<KeepPolicy> {
    const choice = await this.#choice(this.#context.db);
    return choice ? { ...keepEverything, ...(JSON.parse(choice.value) as Partial<KeepPolicy>) } : keepEverything;
  }

  /** @throws SeamwiseError `store-value` */
  async changePolicy(actor: Actor, { days, bytes }: KeepPolicy): Promise<void> {
    const { clubId, nowS } = this.#context;
    const value = JSON.stringify({
      days: days === null ? null : requireNumber('days that recordings are kept', days, 1, 36_500),
      bytes: bytes === null ? null : requireNumber('bytes that recordings may take', bytes, 1e6, 1e15),
    });
    await this.#edits.make(actor, 'change how long recordings are kept', async (batch) => {
      const known = await this.#choice(batch.trx);
      if (known) await batch.change('club_choice', known.id, { value });
      else await batch.insert('club_choice', { id: newId(nowS()), club_id: clubId, name: choiceName, value });
    });
  }

  /**
   * Says that a session's recording is going to be deleted, unless it has been starred meanwhile. This comes before the
   * deletion, so that one that is cut off goes on at the next time.
   *
   * @returns whether it may be deleted.
   */
  async letGo(sessionId: string): Promise<boolean> {
    const { db, clubId, nowS } = this.#context;
    const { numUpdatedRows } = await db
      .updateTable('session')
      .set((eb) => ({ recording_deleted_s: eb.fn.coalesce('recording_deleted_s', eb.val(nowS())) }))
      .where('id', '=', sessionId)
      .where('club_id', '=', clubId)
      .where('ended_s', 'is not', null)
      .where((eb) => eb.or([eb('starred', '=', 0), eb('recording_deleted_s', 'is not', null)]))
      .executeTakeFirst();
    return numUpdatedRows > 0n;
  }

  /** Says that a session's recording is deleted. */
  async gone(sessionId: string): Promise<void> {
    const { db, clubId } = this.#context;
    await db
      .updateTable('session')
      .set({ recording: null })
      .where('id', '=', sessionId)
      .where('club_id', '=', clubId)
      .where('recording_deleted_s', 'is not', null)
      .execute();
  }

  async #choice(connection: Connection): Promise<{ readonly id: string; readonly value: string } | undefined> {
    const { clubId } = this.#context;
    const choices = connection.selectFrom('club_choice').select(['id', 'value']).where('club_id', '=', clubId);
    return choices.where('name', '=', choiceName).executeTakeFirst();
  }
}
