import {
  CompiledQuery,
  type DatabaseConnection,
  type DatabaseIntrospector,
  type Dialect,
  type DialectAdapter,
  type Driver,
  Kysely,
  type QueryCompiler,
  type QueryResult,
  SqliteAdapter,
  SqliteIntrospector,
  SqliteQueryCompiler,
} from 'kysely';
import type { SqliteAccess } from './sqlite-access.ts';
import type { Tables } from './tables.ts';

/**
 * SQLite as it is: a transaction holds changes of tables too (SQLite documentation, "CREATE TABLE" within "Transaction").
 * Kysely's own dialect says that it does not, and takes the steps of the tables one by one: one that failed or was killed would
 * then leave half a step behind, over which no later start would come.
 */
class TransactionalAdapter extends SqliteAdapter {
  override get supportsTransactionalDdl(): boolean {
    return true;
  }
}

class AccessDialect implements Dialect {
  readonly #access: SqliteAccess;

  constructor(access: SqliteAccess) {
    this.#access = access;
  }

  createDriver(): Driver {
    return new AccessDriver(this.#access);
  }

  createQueryCompiler(): QueryCompiler {
    return new SqliteQueryCompiler();
  }

  createAdapter(): DialectAdapter {
    return new TransactionalAdapter();
  }

  createIntrospector(db: Kysely<unknown>): DatabaseIntrospector {
    return new SqliteIntrospector(db);
  }
}

/** Hands the one connection to one after the other: what belongs to a transaction is never mixed with anything else. */
class AccessDriver implements Driver {
  readonly #access: SqliteAccess;
  readonly #connection: DatabaseConnection;
  readonly #waiting: (() => void)[] = [];
  #taken = false;

  constructor(access: SqliteAccess) {
    this.#access = access;
    this.#connection = new AccessConnection(access);
  }

  async init(): Promise<void> {}

  async acquireConnection(): Promise<DatabaseConnection> {
    if (this.#taken) await new Promise<void>((resolve) => this.#waiting.push(resolve));
    this.#taken = true;
    return this.#connection;
  }

  async releaseConnection(): Promise<void> {
    const next = this.#waiting.shift();
    if (next) next();
    else this.#taken = false;
  }

  /**
   * At once as one that writes, and waits for its turn: a transaction that first read and then wants to write is refused where another
   * program wrote in between (SQLite documentation, SQLITE_BUSY_SNAPSHOT), and ours all write.
   */
  async beginTransaction(connection: DatabaseConnection): Promise<void> {
    await connection.executeQuery(CompiledQuery.raw('begin immediate'));
  }

  async commitTransaction(connection: DatabaseConnection): Promise<void> {
    await connection.executeQuery(CompiledQuery.raw('commit'));
  }

  async rollbackTransaction(connection: DatabaseConnection): Promise<void> {
    await connection.executeQuery(CompiledQuery.raw('rollback'));
  }

  async destroy(): Promise<void> {
    await this.#access.close();
  }
}

class AccessConnection implements DatabaseConnection {
  readonly #access: SqliteAccess;

  constructor(access: SqliteAccess) {
    this.#access = access;
  }

  async executeQuery<Row>({ sql, parameters }: CompiledQuery): Promise<QueryResult<Row>> {
    const { rows, changed } = await this.#access.run(sql, parameters);
    if (changed === null) return { rows: rows as Row[] };
    return { rows: [], insertId: BigInt(changed.lastId), numAffectedRows: BigInt(changed.count) };
  }

  streamQuery<Row>(): AsyncIterableIterator<QueryResult<Row>> {
    throw new Error('rows are read page by page, not as a stream');
  }
}

/**
 * @param onQuery told every query.
 * @returns the tables of an open database.
 */
export function kyselyOver(access: SqliteAccess, onQuery: (query: CompiledQuery) => void = () => {}): Kysely<Tables> {
  return new Kysely<Tables>({
    dialect: new AccessDialect(access),
    log: (event) => onQuery(event.query),
  });
}
