import { execFile, spawn } from 'node:child_process';
import {
  chownSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { promisify } from 'node:util';
import pg from 'pg';
import { freePort } from './free-port.ts';

/**
 * A PostgreSQL server of a test's own, in a temporary folder: nothing of it outlives a loss of power, everybody on this machine may
 * come in as anybody, but for a user called `guarded`, who needs a password.
 *
 * In a test of vitest, `sharedCluster` gives one that all files of the run share; it is started by the first who asks and stopped with
 * the run. Proofs and benches start one by `startCluster` and stop it themselves.
 */
export interface PostgresCluster {
  readonly folder: string;
  readonly port: number;
  /** @param user by default the server's administrator. */
  address(database: string, user?: string): string;
  /** Makes an empty database. @returns its name. */
  createDatabase(prefix?: string): Promise<string>;
  /** Carries out sentences as the administrator. */
  run(database: string, ...sentences: readonly string[]): Promise<pg.QueryResult[]>;
  /** `fast` ends its connections, `immediate` as a crash does. */
  stop(how?: 'fast' | 'immediate'): Promise<void>;
  /** Starts it again after `stop`. */
  start(): Promise<void>;
  /** Writes a file of the server's into the folder of its data, for it alone. */
  write(name: string, text: string): void;
  /** Runs one of PostgreSQL's own programs as the server's user. @returns what it printed. */
  program(name: string, ...words: readonly string[]): Promise<string>;
}

const debianFolder = '/usr/lib/postgresql';

/** @returns folder of the newest PostgreSQL's programs, or null where none is installed. */
export function postgresPrograms(): string | null {
  if (!existsSync(debianFolder)) return null;
  const versions = readdirSync(debianFolder).filter((name) =>
    existsSync(path.join(debianFolder, name, 'bin', 'initdb')),
  );
  const newest = versions.sort((a, b) => Number(b) - Number(a))[0];
  return newest === undefined ? null : path.join(debianFolder, newest, 'bin');
}

export const hasPostgres = postgresPrograms() !== null;

/** Told in the names of tests that are skipped. */
export const noPostgres = 'skipped: no PostgreSQL (apt-get install postgresql)';

/**
 * @param settings further ones, such as `max_connections=300`.
 * @param stopsWith process with whose end the server ends too, however that comes.
 */
export async function startCluster(
  folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-postgres-')),
  settings: readonly string[] = [],
  stopsWith = process.pid,
): Promise<PostgresCluster> {
  const user = serverUser();
  const data = path.join(folder, 'data');
  mkdirSync(data, { recursive: true });
  for (const each of [folder, data]) if (user) chownSync(each, user.uid, user.gid);
  const port = await freePort();
  const cluster = new Cluster(folder, port);
  await cluster.program(
    'initdb',
    '-D',
    data,
    '-U',
    'postgres',
    '-A',
    'trust',
    '-E',
    'UTF8',
    '--locale=C.UTF-8',
    '--no-sync',
  );
  writeFileSync(
    path.join(data, 'pg_hba.conf'),
    ['host all guarded all scram-sha-256', 'local all all trust', 'host all all 127.0.0.1/32 trust', ''].join('\n'),
  );
  writeFileSync(
    path.join(data, 'postgresql.auto.conf'),
    [
      `port=${port}`,
      "listen_addresses='127.0.0.1'",
      `unix_socket_directories='${folder}'`,
      ...['fsync=off', 'full_page_writes=off', 'max_connections=200', 'autovacuum=on', 'log_min_messages=fatal'],
      ...settings,
      '',
    ].join('\n'),
  );
  stopWith(stopsWith, folder);
  await cluster.start();
  return cluster;
}

/** Where the cluster of a run of vitest lies; `tests/tools/postgres-run.ts` says it and cleans up. */
const runFolderName = 'SEAMWISE_TEST_POSTGRES';

/** @returns the cluster that all test files of this run share. */
export async function sharedCluster(): Promise<PostgresCluster> {
  const folder = process.env[runFolderName];
  if (folder === undefined)
    throw new Error('sharedCluster is for tests of vitest: a proof or bench calls startCluster');
  const portFile = path.join(folder, 'port');
  // Who cleans up a temporary folder may take one that is still empty.
  mkdirSync(folder, { recursive: true });
  try {
    mkdirSync(path.join(folder, 'starting'));
  } catch {
    while (!existsSync(portFile)) await pause(50);
    return new Cluster(folder, Number(readFileSync(portFile, 'utf8')));
  }
  const cluster = await startCluster(folder, [], process.ppid);
  // Under its own name only when it is whole: others wait for it.
  writeFileSync(`${portFile}.new`, String(cluster.port));
  renameSync(`${portFile}.new`, portFile);
  return cluster;
}

class Cluster implements PostgresCluster {
  readonly folder: string;
  readonly port: number;

  constructor(folder: string, port: number) {
    this.folder = folder;
    this.port = port;
  }

  address(database: string, user = 'postgres'): string {
    return `postgres://${user}@127.0.0.1:${this.port}/${database}`;
  }

  async createDatabase(prefix = 'test'): Promise<string> {
    const name = `${prefix}_${process.pid}_${Math.random().toString(36).slice(2, 10)}`;
    await this.run('postgres', `create database "${name}"`);
    return name;
  }

  async run(database: string, ...sentences: readonly string[]): Promise<pg.QueryResult[]> {
    const client = new pg.Client({ connectionString: this.address(database) });
    await client.connect();
    try {
      const results: pg.QueryResult[] = [];
      for (const sentence of sentences) results.push(await client.query(sentence));
      return results;
    } finally {
      await client.end();
    }
  }

  async start(): Promise<void> {
    await this.#control('start', '-l', path.join(this.folder, 'log'));
  }

  async stop(how: 'fast' | 'immediate' = 'fast'): Promise<void> {
    await this.#control('stop', '-m', how);
  }

  write(name: string, text: string): void {
    const file = path.join(this.folder, 'data', name);
    writeFileSync(file, text, { mode: 0o600 });
    const user = serverUser();
    if (user) chownSync(file, user.uid, user.gid);
  }

  async #control(...words: readonly string[]): Promise<void> {
    await this.program('pg_ctl', '-D', path.join(this.folder, 'data'), '-w', '-s', ...words);
  }

  async program(name: string, ...words: readonly string[]): Promise<string> {
    const folder = postgresPrograms();
    if (folder === null) throw new Error('no PostgreSQL is installed');
    const { stdout } = await promisify(execFile)(path.join(folder, name), [...words], {
      ...serverUser(),
      cwd: this.folder,
      env: { ...process.env, LC_ALL: 'C.UTF-8', PGHOST: this.folder, PGPORT: String(this.port), PGUSER: 'postgres' },
      maxBuffer: 1 << 28,
    });
    return stdout;
  }
}

/** PostgreSQL refuses to run as root. */
function serverUser(): { readonly uid: number; readonly gid: number } | undefined {
  if (process.getuid?.() !== 0) return undefined;
  const line = readFileSync('/etc/passwd', 'utf8')
    .split('\n')
    .find((each) => each.startsWith('postgres:'));
  const [, , uid, gid] = line?.split(':') ?? [];
  return { uid: Number(uid ?? 65_534), gid: Number(gid ?? 65_534) };
}

/** A run that is killed stops nothing by itself: a shell waits for its end. */
function stopWith(pid: number, folder: string): void {
  const control = `${postgresPrograms()}/pg_ctl`;
  const script = `while [ -d /proc/${pid} ] && [ -e '${folder}/data' ]; do sleep 2; done
    [ -e '${folder}/data' ] && '${control}' -D '${folder}/data' -m immediate -s stop
    rm -rf '${folder}'`;
  spawn('sh', ['-c', script], { ...serverUser(), cwd: '/', detached: true, stdio: 'ignore' }).unref();
}

/** Stops and removes a cluster that `startCluster` started. */
export async function removeCluster(cluster: PostgresCluster): Promise<void> {
  await cluster.stop('immediate');
  rmSync(cluster.folder, { recursive: true, force: true });
}
