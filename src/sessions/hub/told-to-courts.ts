import { sql } from 'kysely';
import { handedToCourts } from '../database/hub-tables.ts';
import type { StoreContext } from '../database/store-context.ts';
import type { HandedDocument } from './handed-tables.ts';
import type { HandedBatch } from './hub-records.ts';
import { type ChangePlace, changedAfter, needsOf, readDocument } from './read-documents.ts';

/** Answers to courts that are held; each is some hundred documents at most. */
const mostPages = 50;

/** What a hub has to tell its courts. Courts ask for the same all the time: it is read once until something changes. */
export class ToldToCourts {
  readonly #context: StoreContext;
  readonly #pages = new Map<string, Promise<HandedBatch>>();
  /** Number of the last change that is for courts, as of which the pages are. */
  #lastSeq = 0;

  constructor(context: StoreContext) {
    this.#context = context;
  }

  /** @returns what there is after a number. */
  async after(after: number, limit: number): Promise<HandedBatch> {
    const lastSeq = await this.#last();
    if (lastSeq <= after) return { documents: [], upTo: after };
    if (this.#lastSeq !== lastSeq || this.#pages.size >= mostPages) this.#pages.clear();
    this.#lastSeq = lastSeq;
    const key = `${after} ${limit}`;
    const known = this.#pages.get(key);
    if (known) return known;
    const read = this.#read(after, limit);
    this.#pages.set(key, read);
    // What could not be read is read anew by the next one who asks.
    read.catch(() => this.#pages.delete(key));
    return read;
  }

  async #read(after: number, limit: number): Promise<HandedBatch> {
    const { db, clubId } = this.#context;
    const places = await changedAfter(this.#context, after, limit, handedToCourts);
    const documents = new Map<string, HandedDocument>();
    const add = async (place: ChangePlace): Promise<void> => {
      const key = `${place.entity} ${place.entity_id}`;
      if (documents.has(key)) return;
      const document = await readDocument({ db, clubId, agreed: null }, place);
      // What it hangs on may have been changed again behind it, and has to be there before.
      for (const { entity, id } of place.entity === 'edit' ? [] : needsOf(document)) {
        const seq = handedToCourts.includes(entity) ? await this.#seqOf(entity, id) : 0;
        if (seq > place.seq) await add({ entity, entity_id: id, seq });
      }
      documents.set(key, document);
    };
    for (const place of places) await add(place);
    return { documents: [...documents.values()], upTo: places.at(-1)?.seq ?? after };
  }

  async #seqOf(entity: ChangePlace['entity'], id: string): Promise<number> {
    const { db, clubId } = this.#context;
    const log = db.selectFrom('change_log').select('seq').where('club_id', '=', clubId);
    return Number((await log.where('entity', '=', entity).where('entity_id', '=', id).executeTakeFirst())?.seq ?? 0);
  }

  async #last(): Promise<number> {
    const { db, clubId } = this.#context;
    const last = await db
      .selectFrom('change_log')
      .select('seq')
      .where('club_id', '=', clubId)
      // As they stand in the index for courts, which a parameter would not match.
      .where(
        'entity',
        'in',
        handedToCourts.map((entity) => sql.lit(entity)),
      )
      .orderBy('seq', 'desc')
      .limit(1)
      .executeTakeFirst();
    return Number(last?.seq ?? 0);
  }
}
