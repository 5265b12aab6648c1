import { SeamwiseError } from '../../foundation/errors.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import { isConstraintError } from '../../sessions/database/constraint-error.ts';
import type { HandedDocument } from '../../sessions/hub/handed-tables.ts';
import type { CourtDocuments } from '../../sessions/hub/take-new-things.ts';
import type { HandOverAnswer } from '../wire/hub-document.ts';

type Results = HandOverAnswer['results'];

interface Waiting extends CourtDocuments {
  readonly resolve: (results: Results) => void;
  readonly reject: (error: unknown) => void;
}

/** More than these would hold up those behind them. */
const documentsTogether = 400;

/**
 * Takes what courts hand over. What comes in while a transaction runs is stored by the next one, all together: the changes of a club
 * follow each other anyhow, and a thousand courts would wait for a thousand commits.
 */
export class HandOverDesk {
  readonly #waiting: Waiting[] = [];
  #isWorking = false;

  /** @returns what came of each document, in their order; it is on the disk by then. @throws what the database gives. */
  take(store: ClubStore, from: CourtDocuments['from'], documents: readonly HandedDocument[]): Promise<Results> {
    return new Promise((resolve, reject) => {
      this.#waiting.push({ from, documents, resolve, reject });
      if (!this.#isWorking) void this.#work(store);
    });
  }

  async #work(store: ClubStore): Promise<void> {
    this.#isWorking = true;
    // What comes in within this very moment goes along.
    await new Promise((resolve) => setImmediate(resolve));
    while (this.#waiting.length > 0) {
      const together = this.#next();
      try {
        const results = await store.hub.takeTogether(together);
        for (const [at, { resolve }] of together.entries()) resolve(results[at] ?? []);
      } catch (error) {
        if (isRefusal(error)) for (const each of together) await takeAlone(store, each);
        else for (const { reject } of together) reject(error);
      }
    }
    this.#isWorking = false;
  }

  #next(): Waiting[] {
    const together: Waiting[] = [];
    let count = 0;
    for (let next = this.#waiting[0]; next; next = this.#waiting[0]) {
      count += next.documents.length;
      if (together.length > 0 && count > documentsTogether) break;
      together.push(next);
      this.#waiting.shift();
    }
    return together;
  }
}

/** One that cannot be stored whatever comes later does not hold up the others. */
async function takeAlone(store: ClubStore, { from, documents, resolve, reject }: Waiting): Promise<void> {
  const results: Results = [];
  try {
    for (const document of documents) {
      try {
        results.push(...(await store.hub.take(from, [document])));
      } catch (error) {
        if (!isRefusal(error)) throw error;
        results.push({ state: 'refused', reason: error instanceof Error ? error.message : String(error) });
      }
    }
    resolve(results);
  } catch (error) {
    reject(error);
  }
}

function isRefusal(error: unknown): boolean {
  if (error instanceof SeamwiseError) return error.code === 'store-value';
  return error instanceof SyntaxError || isConstraintError(error);
}
