import { createHash, randomBytes } from 'node:crypto';
import type { Selectable } from 'kysely';
import { amongIds } from '../database/among-ids.ts';
import type { HubCourtTable } from '../database/hub-tables.ts';
import { newId } from '../database/new-id.ts';
import { missing, requireText, type StoreContext } from '../database/store-context.ts';

/** A court that may hand over, without the hash of its key. */
export type Court = Omit<Selectable<HubCourtTable>, 'key_hash' | 'club_id'>;

interface Asked {
  readonly hash: string;
  readonly resolve: (court: Court | null) => void;
  readonly reject: (error: unknown) => void;
}

const prefix = 'court-';

/** Keys by which a hub knows its courts. The key itself is kept nowhere here. */
export class CourtKeys {
  readonly #context: StoreContext;
  readonly #asked: Asked[] = [];
  #isLooking = false;

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

  /** @returns the court that a key is of, or null. Keys that are asked for while others are looked up are looked up together. */
  find(key: string): Promise<Court | null> {
    if (!key.startsWith(prefix)) return Promise.resolve(null);
    return new Promise((resolve, reject) => {
      this.#asked.push({ hash: hashOf(key), resolve, reject });
      if (!this.#isLooking) void this.#look();
    });
  }

  async #look(): Promise<void> {
    this.#isLooking = true;
    while (this.#asked.length > 0) {
      const asked = this.#asked.splice(0);
      try {
        const found = await this.#findAll(asked.map(({ hash }) => hash));
        for (const { hash, resolve } of asked) resolve(found.get(hash) ?? null);
      } catch (error) {
        for (const { reject } of asked) reject(error);
      }
    }
    this.#isLooking = false;
  }

  /** By the hashes of random keys: how long the search takes tells nothing that could be used. */
  async #findAll(hashes: readonly string[]): Promise<ReadonlyMap<string, Court>> {
    const { db, clubId } = this.#context;
    const courts = db
      .selectFrom('hub_court')
      .select(['id', 'name', 'made_s', 'revoked_s', 'key_hash'])
      .where('club_id', '=', clubId)
      .where('revoked_s', 'is', null);
    const rows = await courts.where(amongIds(db, 'key_hash', hashes)).execute();
    return new Map(rows.map(({ key_hash, ...court }) => [key_hash, court]));
  }
}

function hashOf(key: string): string {
  return createHash('sha256').update(key).digest('hex');
}
