import { setTimeout as pause } from 'node:timers/promises';
import { HandleEmptyInListsPlugin, Kysely, PostgresDialect, replaceWithNoncontingentExpression } from 'kysely';
import pg from 'pg';
import type { QueryNotes } from '../query-notes.ts';
import type { Tables } from '../tables.ts';
import { noteShotTimes } from './missing-part.ts';
import { type PostgresAddress, readPostgresAddress } from './postgres-address.ts';
import { inWords, isLost, isStalePlan } from './postgres-trouble.ts';

/** A connection that was idle for longer is asked whether it still is one, ms. */
const trustedIdleMs = 1000;
const betweenTriesMs = 100;

/** A connection as kysely takes it. */
interface RoleClient {
  query(text: string, values: readonly unknown[]): Promise<pg.QueryResult>;
  release(broken?: boolean): void;
}

/** The connections of this process to one database, shared by the stores of all its clubs. */
export class PostgresServer {
  static readonly #servers = new Map<string, PostgresServer>();
  readonly address: PostgresAddress;
  readonly #key: string;
  readonly #pool: pg.Pool;
  readonly #roles = new WeakMap<pg.PoolClient, string | null>();
  readonly #usedMs = new WeakMap<pg.PoolClient, number>();
  #users = 0;

  private constructor(key: string, address: PostgresAddress) {
    this.#key = key;
    this.address = address;
    this.#pool = new pg.Pool({ ...address.client, max: address.connections, types: ownTypes });
    // A connection that breaks while nobody asks anything is found out at its next use.
    this.#pool.on('error', () => {});
    this.#pool.on('connect', (client) => client.on('error', () => {}));
  }

  /** Each call needs a `leave`. @throws SeamwiseError `database-address`. */
  static at(address: string): PostgresServer {
    let server = PostgresServer.#servers.get(address);
    if (server === undefined) {
      server = new PostgresServer(address, readPostgresAddress(address));
      PostgresServer.#servers.set(address, server);
    }
    server.#users += 1;
    return server;
  }

  /** Closes the connections with the last user. */
  async leave(): Promise<void> {
    this.#users -= 1;
    if (this.#users > 0) return;
    PostgresServer.#servers.delete(this.#key);
    await this.#pool.end();
  }

  /**
   * @param role that every query is made as; null for the user of the address.
   * @param patienceMs how long a server that does not answer is waited for.
   */
  kysely(role: string | null, patienceMs: () => number, notes?: QueryNotes): Kysely<Tables> {
    return new Kysely<Tables>({
      dialect: new PostgresDialect({
        pool: {
          connect: () => this.#connect(role, patienceMs()) as never,
          // Kysely ends only what was used; who came by `at` leaves by `leave`.
          end: async () => {},
        },
      }),
      // SQLite takes an empty list.
      plugins: [new HandleEmptyInListsPlugin({ strategy: replaceWithNoncontingentExpression })],
      ...(notes && { log: ({ query }) => notes.take(query) }),
    });
  }

  async #connect(role: string | null, patienceMs: number): Promise<RoleClient> {
    const untilMs = performance.now() + patienceMs;
    for (;;) {
      let client: pg.PoolClient | undefined;
      try {
        client = await this.#pool.connect();
        await this.#ready(client, role);
        return this.#roleClient(client);
      } catch (error) {
        client?.release(true);
        if (!isLost(error) || performance.now() >= untilMs) throw inWords(error, this.address.shown);
      }
      await pause(betweenTriesMs);
    }
  }

  /** Makes sure that the connection is one and speaks for the role. */
  async #ready(client: pg.PoolClient, role: string | null): Promise<void> {
    if ((this.#roles.get(client) ?? null) !== role) {
      await client.query(role === null ? 'reset role' : `set role ${pg.escapeIdentifier(role)}`);
      this.#roles.set(client, role);
      return;
    }
    const usedMs = this.#usedMs.get(client);
    if (usedMs !== undefined && performance.now() - usedMs > trustedIdleMs) await client.query('select 1');
  }

  #roleClient(client: pg.PoolClient): RoleClient {
    let isStale = false;
    return {
      query: async (text, values) => {
        const name = statementName(text, values);
        try {
          if (name === null) return await client.query(text, [...values]);
          try {
            return await client.query({ name, text, values: [...values] });
          } catch (error) {
            if (!isStalePlan(error)) throw error;
            isStale = true;
            // Within a transaction this fails too, and the whole of it is done anew on another connection.
            return await client.query(text, [...values]).catch(() => Promise.reject(error));
          }
        } catch (error) {
          noteShotTimes(error, text, values);
          throw inWords(error, this.address.shown);
        }
      },
      release: (broken) => {
        this.#usedMs.set(client, performance.now());
        client.release(broken || isStale);
      },
    };
  }
}

/** Texts of queries that a connection keeps planned: to plan one over many parts takes longer than to carry it out. */
const statements = new Map<string, string>();
const mostStatements = 300;
/** Longer lists vary in length, each a text of its own. */
const mostValues = 40;

function statementName(text: string, values: readonly unknown[]): string | null {
  if (values.length === 0 || values.length > mostValues) return null;
  const known = statements.get(text);
  if (known !== undefined || statements.size >= mostStatements) return known ?? null;
  const name = `seamwise_${statements.size}`;
  statements.set(text, name);
  return name;
}

/** PostgreSQL's whole numbers of 64 bits and its decimals come as text by default; ours all fit into a number. */
const ownTypes: pg.CustomTypesConfig = {
  getTypeParser: ((oid: number, format?: 'text' | 'binary') => {
    if (format !== 'binary' && (oid === pg.types.builtins.INT8 || oid === pg.types.builtins.NUMERIC)) return toNumber;
    return pg.types.getTypeParser(oid, format as 'text');
  }) as typeof pg.types.getTypeParser,
};

function toNumber(text: string): number {
  const number = Number(text);
  if (Number.isInteger(number) && !Number.isSafeInteger(number)) {
    throw new RangeError(`${text} in the database: expected a number of at most 2^53`);
  }
  return number;
}
