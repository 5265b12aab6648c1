import { Worker } from 'node:worker_threads';
import type { SqliteAccess, SqliteAnswer } from './sqlite-access.ts';
import type { FromSqliteThread, SqliteThreadStart, ToSqliteThread } from './sqlite-thread-messages.ts';

interface Waiting {
  readonly resolve: (answer: SqliteAnswer | null) => void;
  readonly reject: (error: Error) => void;
}

/**
 * A database in a thread of its own: whoever waits for the disk waits without holding up anything else. What is asked is carried
 * out in its order, as in one thread.
 */
export class SqliteThread implements SqliteAccess {
  readonly #worker: Worker;
  /** Answers come in the order of the questions. */
  readonly #waiting: Waiting[] = [];
  readonly #gone: Promise<void>;
  #over: Error | null = null;

  private constructor(file: string) {
    const start: SqliteThreadStart = { file };
    this.#worker = new Worker(ownThreadFile, { workerData: start });
    this.#worker.on('message', (message: FromSqliteThread) => {
      const waiting = this.#waiting.shift();
      if (message.kind === 'done') waiting?.resolve(message.answer);
      else waiting?.reject(new Error(message.why));
    });
    this.#worker.on('error', (error) => this.#end(new Error(`the thread of the database broke: ${String(error)}`)));
    this.#gone = new Promise((resolve) => {
      this.#worker.on('exit', () => {
        this.#end(new Error('the database is closed'));
        resolve();
      });
    });
  }

  /** Opens a database file, or makes it, as `openSqlite` does. @throws Error with what SQLite says. */
  static async open(file: string): Promise<SqliteThread> {
    const thread = new SqliteThread(file);
    await thread.#answer();
    return thread;
  }

  async run(sql: string, values: readonly unknown[]): Promise<SqliteAnswer> {
    return (await this.#ask({ kind: 'run', sql, values })) as SqliteAnswer;
  }

  /** Closes the database and ends the thread. */
  async close(): Promise<void> {
    if (this.#over === null) await this.#ask({ kind: 'close' });
    await this.#gone;
  }

  #ask(message: ToSqliteThread): Promise<SqliteAnswer | null> {
    if (this.#over !== null) return Promise.reject(this.#over);
    this.#worker.postMessage(message);
    return this.#answer();
  }

  #answer(): Promise<SqliteAnswer | null> {
    return new Promise((resolve, reject) => this.#waiting.push({ resolve, reject }));
  }

  #end(why: Error): void {
    this.#over ??= why;
    for (const { reject } of this.#waiting.splice(0)) reject(this.#over);
  }
}

/** The thread's own file: compiled, or in development and tests as TypeScript. */
const ownThreadFile = import.meta.url.endsWith('.ts')
  ? new URL('./sqlite-thread-from-source.mjs', import.meta.url)
  : new URL('./sqlite-thread-entry.js', import.meta.url);
