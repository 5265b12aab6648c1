/** Entry of a thread that holds a database: sentences come in, what SQLite says to them goes out in the same order. */
import { parentPort, workerData } from 'node:worker_threads';
import { type OpenedSqlite, openSqlite } from './open-sqlite.ts';
import type { SqliteAnswer } from './sqlite-access.ts';
import type { FromSqliteThread, SqliteThreadStart, ToSqliteThread } from './sqlite-thread-messages.ts';

/**
 * What was committed is brought from the log into the database after so many commits and when nothing was asked for so long, ms.
 * SQLite by itself does it within the commit that makes the log long, and somebody waits for that one.
 */
const emptying = { commits: 20, idleMs: 150 } as const;

const port = parentPort;
if (!port) throw new Error('this file runs as a worker thread of the database and nowhere else');
const { file } = workerData as SqliteThreadStart;

let database: OpenedSqlite | null = null;
let commits = 0;
let idle: NodeJS.Timeout | undefined;

answer(() => {
  database = openSqlite(file);
  return null;
});
if (database === null) port.close();

port.on('message', (message: ToSqliteThread) => {
  clearTimeout(idle);
  if (message.kind === 'close') {
    answer(close);
    port.close();
    return;
  }
  answer(() => run(message.sql, message.values));
  if (commits >= emptying.commits) idle = setTimeout(emptyLog, emptying.idleMs);
});

function answer(work: () => SqliteAnswer | null): void {
  let message: FromSqliteThread;
  try {
    message = { kind: 'done', answer: work() };
  } catch (error) {
    message = { kind: 'failed', why: error instanceof Error ? error.message : String(error) };
  }
  port?.postMessage(message);
}

function run(sql: string, values: readonly unknown[]): SqliteAnswer {
  if (database === null) throw new Error('the database is closed');
  const answered = database.run(sql, values);
  if (sql === 'commit') commits += 1;
  return answered;
}

function close(): null {
  const open = database;
  database = null;
  open?.close();
  return null;
}

function emptyLog(): void {
  commits = 0;
  try {
    database?.exec('pragma wal_checkpoint(passive)');
  } catch {
    // A disk that takes nothing: the log stays as it is, and SQLite tries again when it has become long.
  }
}
