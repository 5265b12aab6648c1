import { mkdtempSync, rmSync, statSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { ClubStore } from '../../src/sessions/database/club-store.ts';
import { openSqlite } from '../../src/sessions/database/open-sqlite.ts';
import { moveClub } from '../../src/sessions/database/postgres/move-club.ts';
import { clubQuestions, clubStartS, fillClub, fixedPlayerId, yearS } from '../helpers/big-club.ts';
import { hasPostgres, type PostgresCluster, removeCluster, startCluster } from '../helpers/postgres-cluster.ts';
import { madeShot } from '../server/made-shots.ts';
import type { BenchContext, BenchFigure } from './bench.ts';

const sessions = 200;
const shotsEach = 500;
const fixedSessions = 20;
const shots = sessions * shotsEach;
const runs = 9;
const liveShots = 300;
const grownSessions = 4;

/**
 * One generated club in a file of SQLite, moved from there to PostgreSQL: bytes that a shot takes, how long the questions of the page
 * take, and what one shot more takes until it is on the disk. PostgreSQL is Debian's with its own settings, on the same machine and disk,
 * its commits on the disk as SQLite's are.
 */
export async function figures({ say }: BenchContext): Promise<readonly BenchFigure[]> {
  if (!hasPostgres) {
    say('  skipped: no PostgreSQL (apt-get install postgresql)');
    return [];
  }
  const folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-engines-'));
  const file = path.join(folder, 'club.db');
  const cluster = await startCluster(undefined, ['fsync=on', 'full_page_writes=on']);
  try {
    const made = await ClubStore.open({ file, nowS: () => clubStartS });
    const { clubId } = made;
    await made.close();
    fillClub(file, clubId, { sessions, shotsEach, fixedSessions });
    const found: BenchFigure[] = [];
    const database = await cluster.createDatabase();
    const address = cluster.address(database);
    const startMs = performance.now();
    await moveClub({ file, address, nowS: () => clubStartS });
    found.push({
      name: 'move to PostgreSQL, rows compared',
      value: shots / ((performance.now() - startMs) / 1000),
      unit: 'shots/s',
    });
    // The newest part is the one that a club writes to.
    const nowS = () => clubStartS + yearS + 100 * 86_400;
    const sqlite = await ClubStore.open({ file, nowS, inThread: true });
    const postgres = await ClubStore.open({ address, nowS });
    found.push(...(await growth(sqlite, async () => sqliteSize(file))));
    found.push(...(await growth(postgres, () => postgresSizes(cluster, database))));
    for (const [name, store] of [
      ['SQLite', sqlite],
      ['PostgreSQL', postgres],
    ] as const) {
      for (const question of clubQuestions) {
        found.push({
          name: `${name}: ${question.name}`,
          value: await median(runs, () => question.ask(store)),
          unit: 'ms',
        });
      }
      const place = { sessionId: 'session-000001', sensorId: 'sensor-1', sensorIds: ['sensor-1'], streamIndex: 1 };
      const one = (at: number) =>
        store.shots.addLive(
          { ...place, atS: nowS() + at },
          { shot: madeShot(at), analysisVersion: '1', parameters: {} },
        );
      let at = 0;
      found.push({ name: `${name}: one shot stored`, value: await median(liveShots, () => one(at++)), unit: 'ms' });
      const fromMs = performance.now();
      await Promise.all(Array.from({ length: liveShots }, () => one(at++)));
      const rate = liveShots / ((performance.now() - fromMs) / 1000);
      found.push({ name: `${name}: shots of one session, all asked at once`, value: rate, unit: 'shots/s' });
      await store.close();
    }
    return found;
  } finally {
    await removeCluster(cluster);
    rmSync(folder, { recursive: true, force: true });
  }
}

/** A shot's bytes, by sessions of shots with ids as they really are: all tables with their indices, and PostgreSQL's single ones. */
async function growth(store: ClubStore, sizes: () => Promise<ReadonlyMap<string, number>>): Promise<BenchFigure[]> {
  const before = await sizes();
  const sensorId = 'ab'.repeat(16);
  for (let session = 0; session < grownSessions; session++) {
    const startedS = clubStartS + session * 86_400;
    await store.importSession(
      { role: 'host', name: 'bench' },
      {
        ...{ name: '', startedS, endedS: startedS + 3600, timeZone: 'UTC', simulated: false, recording: null },
        ...{ settings: {}, analysisVersion: '1', parameters: {}, marks: [] },
        sensors: [{ id: sensorId, placement: 'ball', description: '00' }],
        shots: Array.from({ length: shotsEach }, (_, index) => ({
          ...{ sensorId, playerId: fixedPlayerId, streamIndex: 0, atS: startedS + 7 * index },
          shot: madeShot(index),
        })),
      },
    );
  }
  const after = await sizes();
  return [...after].map(([name, bytes]) => ({
    name: `${name}, bytes a shot more`,
    value: (bytes - (before.get(name) ?? 0)) / (grownSessions * shotsEach),
    unit: 'B',
  }));
}

function sqliteSize(file: string): ReadonlyMap<string, number> {
  const sqlite = openSqlite(file);
  sqlite.exec('pragma wal_checkpoint(truncate)');
  sqlite.close();
  return new Map([['SQLite', statSync(file).size]]);
}

async function postgresSizes(cluster: PostgresCluster, database: string): Promise<ReadonlyMap<string, number>> {
  const [, found] = await cluster.run(
    database,
    'vacuum analyze',
    `select coalesce(p.relname, c.relname) as name, sum(pg_table_size(c.oid))::float8 as rows,
        sum(pg_indexes_size(c.oid))::float8 as indices
      from pg_class c left join pg_inherits i on i.inhrelid = c.oid left join pg_class p on p.oid = i.inhparent
      where c.relkind = 'r' and c.relnamespace = 'public'::regnamespace group by 1`,
  );
  const tables = found?.rows as { name: string; rows: number; indices: number }[];
  const sizes = new Map([['PostgreSQL', tables.reduce((sum, { rows, indices }) => sum + rows + indices, 0)]]);
  for (const { name, rows, indices } of tables) {
    if (!['shot', 'shot_result', 'shot_key'].includes(name)) continue;
    sizes.set(`PostgreSQL, rows of ${name}`, rows);
    sizes.set(`PostgreSQL, indices of ${name}`, indices);
  }
  return sizes;
}

async function median(times: number, work: () => Promise<unknown>): Promise<number> {
  const ms: number[] = [];
  for (let run = 0; run < times; run++) {
    const fromMs = performance.now();
    await work();
    ms.push(performance.now() - fromMs);
  }
  return ms.sort((a, b) => a - b)[times >> 1] as number;
}
