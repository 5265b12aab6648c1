/** What a sentence gave: rows, or what it changed. */
export interface SqliteAnswer {
  readonly rows: readonly unknown[];
  /** Null of a sentence that only reads. */
  readonly changed: { readonly count: number | bigint; readonly lastId: number | bigint } | null;
}

/** An open database, in this thread or in one of its own. One sentence after the other: it has a single connection. */
export interface SqliteAccess {
  /** @throws what SQLite says. */
  run(sql: string, values: readonly unknown[]): SqliteAnswer | Promise<SqliteAnswer>;
  close(): void | Promise<void>;
}
