import { createHash, randomBytes } from 'node:crypto';
import type { Selectable } from 'kysely';
import type { HubCourtTable } from '../database/hub-tables.ts';
import { newId } from '../database/new-id.ts';
import { missing, requireText, type StoreContext } from '../database/store-context.ts';

/** A court that may hand over, without the hash of its key. */
export type Court = Omit<Selectable<HubCourtTable>, 'key_hash' | 'club_id'>;

const prefix = 'court-';

/** Keys by which a hub knows its courts. The key itself is kept nowhere here. */
export class CourtKeys {
  readonly #context: StoreContext;

  constructor(context: StoreContext) {
    this.#context = context;
  }

  /** @returns the key, which nobody can be told a second time. @throws SeamwiseError `store-value`. */
  async make(name: string): Promise<{ readonly id: string; readonly key: string }> {
    const { db, clubId, nowS } = this.#context;
    const key = `${prefix}${randomBytes(32).toString('base64url')}`;
    const id = newId(nowS());
    const row = { name: requireText('name of the court', name, { least: 1, most: 60 }), key_hash: hashOf(key) };
    await db
      .insertInto('hub_court')
      .values({ ...row, id, club_id: clubId, made_s: nowS(), revoked_s: null })
      .execute();
    return { id, key };
  }

  /** @returns the courts, first one first. */
  async list(): Promise<Court[]> {
    const { db, clubId } = this.#context;
    const courts = db.selectFrom('hub_court').select(['id', 'name', 'made_s', 'revoked_s']);
    return courts.where('club_id', '=', clubId).orderBy('made_s').orderBy('id').execute();
  }

  /** From then on the key opens nothing. What was handed over stays. @throws SeamwiseError `store-missing`. */
  async revoke(id: string): Promise<void> {
    const { db, clubId, nowS } = this.#context;
    const courts = db
      .updateTable('hub_court')
      .set((eb) => ({ revoked_s: eb.fn.coalesce('revoked_s', eb.val(nowS())) }));
    const { numUpdatedRows } = await courts.where('id', '=', id).where('club_id', '=', clubId).executeTakeFirst();
    if (numUpdatedRows === 0n) throw missing('court', id);
  }

  /** @returns the court that a key is of, or null. */
  async find(key: string): Promise<Court | null> {
    if (!key.startsWith(prefix)) return null;
    const { db, clubId } = this.#context;
    // By the hash of a random key: how long the search takes tells nothing that could be used.
    const courts = db
      .selectFrom('hub_court')
      .select(['id', 'name', 'made_s', 'revoked_s'])
      .where('club_id', '=', clubId);
    const court = await courts.where('key_hash', '=', hashOf(key)).executeTakeFirst();
    return court && court.revoked_s === null ? court : null;
  }
}

function hashOf(key: string): string {
  return createHash('sha256').update(key).digest('hex');
}
