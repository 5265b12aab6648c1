import type { CompiledQuery } from 'kysely';

/** Notes the queries that are made, while somebody wants to know them. */
export class QueryNotes {
  #noted: Map<string, CompiledQuery> | null = null;

  take(query: CompiledQuery): void {
    this.#noted?.set(query.sql, query);
  }

  /** @returns the reading queries that `work` makes, each once. */
  async during(work: () => Promise<unknown>): Promise<CompiledQuery[]> {
    const noted = new Map<string, CompiledQuery>();
    this.#noted = noted;
    try {
      await work();
    } finally {
      this.#noted = null;
    }
    return [...noted.values()].filter(({ sql }) => /^(select|with) /i.test(sql));
  }
}
