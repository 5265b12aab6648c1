import { createHash } from 'node:crypto';
import { readdirSync } from 'node:fs';
import path from 'node:path';
import { describe, expect, it } from 'vitest';
import { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { keyedId } from '../../../src/sessions/database/keyed-id.ts';
import { migrate, migrationsOf } from '../../../src/sessions/database/migrate.ts';
import { openSqlite } from '../../../src/sessions/database/open-sqlite.ts';
import { PostgresServer } from '../../../src/sessions/database/postgres/postgres-server.ts';
import { kyselyOver } from '../../../src/sessions/database/sqlite-dialect.ts';
import { hasPostgres, sharedCluster } from '../../helpers/postgres-cluster.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';
import { madeShot } from '../../server/made-shots.ts';
import { coach } from './opened-store.ts';

const steps = Object.keys(migrationsOf('sqlite'));

/**
 * What SQLite says of the tables after each step, as the first digits of a hash. A step that was published never changes: databases
 * that took it are out there. A new step adds a line here.
 */
const published: Readonly<Record<string, string>> = {
  '001-first-tables': '7c8785d4abe1803e',
  '002-told-documents': 'eae501aa030be715',
  '003-analysed-version': '841b5ff42d87e884',
  '004-rotations-and-marks': 'c4e79119cb11fa77',
  '005-corrections-and-runs': 'bb378675500e2e51',
  '006-coaching': '62a881608427a61d',
  '007-one-current-result': '95a1da2f7b1096b7',
  '009-change-log': 'a8ec64715fabd646',
  '010-jobs': '7af31115bc26fc62',
  '011-players-of-exports': '241bff29a3ea517b',
  '012-handed-coaching': 'f560db72837f206a',
};

/** Makes a database as the program of that step made it, with one of everything that it knew. */
async function databaseOf(step: string, file: string): Promise<void> {
  const sqlite = openSqlite(file);
  const db = kyselyOver(sqlite);
  await migrate(db, 'sqlite', step);
  const shot = JSON.stringify(madeShot(3)).replaceAll("'", "''");
  const before = (change: string) => JSON.stringify({ ...oldPlayer, notes: change });
  const row = (values: readonly (string | number | null)[]) =>
    values.map((value) => (typeof value === 'string' ? `'${value}'` : String(value))).join(', ');
  sqlite.exec(`
    insert into club values ('c1', 'This club', 1);
    insert into player values (${row(Object.values(oldPlayer))});
    insert into consent values ('k1', 'c1', 'p1', 'record', 2, 'parent', null);
    insert into sensor values ('s1', 'c1', 's1', 'ball', 'p1', '00', 3, 4);
  `);
  const session = `'e1', 'c1', 'Tuesday', 10, 20, 'UTC', 0, 1, 'a.mcap', '', '{}'`;
  const late = step >= '003' ? ", '1'" : '';
  const latest = step >= '004' ? ', null' : '';
  sqlite.exec(`insert into session values (${session}${late}${latest})`);
  sqlite.exec(`
    insert into shot_set values ('t1', 'c1', 'e1', 'p1', 'test', 'ten', 'left', 4.6, 5, null, 3, 10, '');
    insert into set_factor values ('f1', 'c1', 't1', 'footwork', 'hop');
  `);
  const told = step >= '002' ? `, 7, '{"shotId":"run.s1.0","runId":"run"}'` : '';
  const toldId = step >= '004' ? ", 'run.s1.0'" : '';
  sqlite.exec(
    `insert into shot values ('h1', 'c1', 'e1', 't1', 'p1', 's1', 0, 3, 15, 'make', null, 'nice'${told}${toldId})`,
  );
  sqlite.exec(`insert into shot_result values ('r1', 'c1', 'h1', 1, '1', '{}', 16, 'dribble', 'ring', '${shot}')`);
  sqlite.exec(`insert into edit values (
    'g1', 'c1', 17, 'coach', 'Coach A', 'change player', 'player', 'p1', '${before('old')}', '${before('left ankle')}', 'g1', null)`);
  if (step >= '006') {
    const target = (id: string, low: number) =>
      `{"id":"${id}","club_id":"c1","player_id":"p1","measure":"dipDepthM","target":null,"low":${low},"high":null}`;
    sqlite.exec(`
      insert into best_set values ('b1', 'c1', 'p1', 't1');
      insert into own_drill values ('d1', 'c1', '{"title":"slow dip"}', 5, null);
      insert into prescription values ('x1', 'c1', 'p1', 'late-dip', '{"title":"slow dip"}', 'dipDepthM', 1, 0.1, 5, 5, null, null, '');
      insert into load_entry values ('l1', 'c1', 'p1', '2026-11-20', 40, 30);
      insert into study values ('u1', 'c1', 'hop or not', 'footwork', '{"playerIds":["p1"],"levels":["hop"]}', 's', 0, 5, null);
    `);
    // Told, taken away and told anew: three changes of two rows that are one from now on.
    for (const [id, atS, before, after] of [
      ['g2', 18, null, target('o1', 1)],
      ['g3', 19, target('o1', 1), null],
      ['g4', 20, null, target('o2', 2)],
    ] as const) {
      const values = [
        id,
        'c1',
        atS,
        'coach',
        'Coach A',
        'target',
        'player_target',
        id === 'g4' ? 'o2' : 'o1',
        before,
        after,
      ];
      sqlite.exec(`insert into edit values (${row([...values, id, null])})`);
    }
    sqlite.exec(`insert into player_target values ('o2', 'c1', 'p1', 'dipDepthM', null, 2, null)`);
  }
  if (step >= '010') {
    sqlite.exec(`
      insert into job values ('j1', 'c1', 'export', 'j1', '{"filter":{}}', 'done', 'coach', 'Coach A', 1, 0, 2, 1, 'w', 'lease', null, 1, null, '{"bytes":4}');
      insert into job_file values ('c1', 'j1', 'lease', 0, x'504b0304');
    `);
  }
  await db.destroy();
}

const oldPlayer = {
  ...{ id: 'p1', club_id: 'c1', pseudonym: 'Player 07', hand: 'left', age_band: '10-12', ball_size: 6 },
  ...{ hoop_height_m: 2.9, units: 'metric', notes: 'left ankle', created_s: 1 },
};

describe.each(steps)('a database of step %s', (step) => {
  it('is brought up to date with everything in it, after a copy was laid beside it', async () => {
    const folder = temporaryFolder();
    const file = path.join(folder, 'club.db');
    await databaseOf(step, file);
    const store = await ClubStore.open({ file, nowS: () => 1000 });
    const next = steps[steps.indexOf(step) + 1];
    expect(readdirSync(folder).filter((name) => name.includes('before'))).toEqual(
      next === undefined ? [] : [`club.db.before-${next}`],
    );
    expect(await store.players.list()).toMatchObject([{ ...oldPlayer }]);
    await store.players.requireConsent('p1', 'record');
    expect(await store.players.sensors()).toMatchObject([{ id: 's1', owner_player_id: 'p1' }]);
    const [session] = await store.sessions.list();
    expect(session).toMatchObject({ id: 'e1', starred: 1, recording: 'a.mcap', shotCount: 1, setCount: 1 });
    expect(session?.recording_deleted_s).toBeNull();
    expect(await store.sessions.sets('e1')).toMatchObject([
      { id: 't1', total_made: 3, factors: [{ factor: 'footwork', level: 'hop' }] },
    ]);
    const [shot] = await store.shots.list({ playerId: 'p1' });
    expect(shot).toMatchObject({ id: 'h1', outcome: 'make', notes: 'nice', result: { shot: madeShot(3) } });
    if (step >= '002') {
      expect(await store.shots.idsOf(['run.s1.0'])).toEqual(['h1']);
      expect(await store.shots.latestTold(5)).toMatchObject([{ seq: 7, head: { shotId: 'run.s1.0' } }]);
    }
    // What was changed before can still be undone, and everything new works on the old rows.
    await store.edits.undo(coach, 'g1');
    expect((await store.players.get('p1')).notes).toBe('old');
    await store.rotations.start(coach, 'e1', { playerIds: ['p1'], shotsEach: 3, sensorId: 's1' });
    await store.marks.add(coach, 'e1', { atS: 12, uncertaintyS: 0.1, origin: 'key' });
    await store.shots.tag(coach, ['h1'], { outcome: 'miss' });
    const hand = { timeS: shot?.result.shot.releaseS ?? 0, resolutionS: 0.005 };
    await store.corrections.set(coach, 'h1', 'release', hand);
    expect((await store.corrections.of(['h1'])).get('h1')).toMatchObject([{ phase: 'release', time_s: hand.timeS }]);
    if (step >= '006') {
      const id = keyedId('player_target', 'p1', 'dipDepthM');
      expect(await store.coaching.targets('p1')).toMatchObject(step >= '012' ? [{ low: 2 }] : [{ id, low: 2 }]);
      if (step < '012') {
        expect((await store.edits.historyOf(id)).map(({ groupId }) => groupId)).toEqual(['g2', 'g3', 'g4']);
        await store.edits.undo(coach, 'g4');
        expect(await store.coaching.targets('p1')).toEqual([]);
        const undone = (await store.edits.latest()).find(({ action }) => action === 'undo: target');
        await store.edits.undo(coach, undone?.groupId ?? '');
      }
      await store.coaching.setTarget(coach, 'p1', 'dipDepthM', { target: null, low: 3, high: null });
      expect(await store.coaching.targets('p1')).toMatchObject([{ low: 3 }]);
      expect(await store.coaching.bestSets('p1')).toEqual(['t1']);
      await store.players.giveConsent(coach, 'p1', 'upload', 'the player');
      const { documents } = await store.hub.forHub(0, 1000);
      const told = new Set(documents.filter(({ row: of }) => of !== null).map(({ entity }) => entity));
      for (const entity of ['player_target', 'best_set', 'own_drill', 'prescription', 'load_entry', 'study'] as const) {
        expect(told, entity).toContain(entity);
      }
      if (step < '012') expect(documents.map(({ entity, row: of }) => entity === 'edit' && of?.id)).toContain('g2');
    }
    if (step >= '010') {
      // Who is in it is not known of one that an older program made.
      if (step < '011') await expect(store.exportFiles.read('j1')).rejects.toMatchObject({ code: 'export-removed' });
      else expect((await store.jobs.get('j1')).state).toBe('done');
    }
    await store.close();
    if (next === undefined) return;
    // The copy is the old database: the old program would open it.
    const copy = openSqlite(path.join(folder, `club.db.before-${next}`));
    const taken = copy.prepare('select name from kysely_migration order by name').all([]) as { name: string }[];
    expect(taken.map(({ name }) => name)).toEqual(steps.slice(0, steps.indexOf(step) + 1));
    expect(copy.prepare('select count(*) as n from shot').all([])).toEqual([{ n: 1 }]);
    copy.close();
  });

  it('has tables as they were published', async () => {
    const sqlite = openSqlite(':memory:');
    const db = kyselyOver(sqlite);
    await migrate(db, 'sqlite', step);
    const rows = sqlite
      .prepare("select sql from sqlite_master where sql is not null and name not like 'kysely%' order by type, name")
      .all([]) as { sql: string }[];
    const text = rows.map(({ sql }) => sql).join('\n');
    expect(createHash('sha256').update(text).digest('hex').slice(0, 16)).toBe(published[step]);
    await db.destroy();
  });
});

it('a step that fails leaves the database as it was', async () => {
  const folder = temporaryFolder();
  const file = path.join(folder, 'club.db');
  await databaseOf('003-analysed-version', file);
  const sqlite = openSqlite(file);
  // In the way of a table that the next step makes.
  sqlite.exec('create table mark (x text)');
  sqlite.close();
  await expect(ClubStore.open({ file, nowS: () => 1 })).rejects.toMatchObject({ code: 'database-unusable' });
  const again = openSqlite(file);
  const names = again.prepare("select name from sqlite_master where type = 'table'").all([]) as { name: string }[];
  expect(names.map(({ name }) => name)).not.toContain('rotation');
  const taken = again.prepare('select count(*) as n from kysely_migration').all([]) as { n: number | bigint }[];
  expect(Number(taken[0]?.n)).toBe(3);
  again.close();
});

it('of two results that both say that they are the current one, the newest stays it', async () => {
  const file = path.join(temporaryFolder(), 'club.db');
  await databaseOf('006-coaching', file);
  const sqlite = openSqlite(file);
  const shot = JSON.stringify(madeShot(4)).replaceAll("'", "''");
  sqlite.exec(`insert into shot_result values ('r2', 'c1', 'h1', 1, '2', '{}', 18, 'dribble', 'ring', '${shot}')`);
  sqlite.close();
  const store = await ClubStore.open({ file, nowS: () => 1000 });
  expect(
    (await store.shots.results('h1')).map(({ analysisVersion, isCurrent }) => [analysisVersion, isCurrent]),
  ).toEqual([
    ['1', false],
    ['2', true],
  ]);
  await store.close();
});

it.skipIf(!hasPostgres)('a database of PostgreSQL is brought up to date with what stood in it', async () => {
  const cluster = await sharedCluster();
  const database = await cluster.createDatabase();
  const address = cluster.address(database);
  const server = PostgresServer.at(address);
  const db = server.kysely(null, () => 0);
  await migrate(db, 'postgres', '010-jobs');
  const target = (id: string, low: number) =>
    JSON.stringify({ id, club_id: 'c1', player_id: 'p1', measure: 'dipDepthM', target: null, low, high: null });
  await cluster.run(
    database,
    `insert into club values ('c1', 'This club', 1)`,
    `insert into player values ('p1', 'c1', 'Player 07', 'left', '10-12', 6, 2.9, 'metric', '', 1)`,
    `insert into player_target values ('o2', 'c1', 'p1', 'dipDepthM', null, 2, null)`,
    `insert into study values ('u1', 'c1', 'hop or not', 'footwork', '{"playerIds":["p1"],"levels":["hop"]}', 's', 0, 5, null)`,
    `insert into edit values ('g2', 'c1', 18, 'coach', 'A', 'target', 'player_target', 'o1', null, '${target('o1', 1)}', 'g2', null)`,
    `insert into edit values ('g4', 'c1', 20, 'coach', 'A', 'target', 'player_target', 'o2', null, '${target('o2', 2)}', 'g4', null)`,
    `insert into job values ('j1', 'c1', 'export', 'j1', '{"filter":{}}', 'done', 'coach', 'A', 1, 0, 2, 1, 'w', 'lease', null, 1, null, '{"bytes":4}')`,
    `insert into job_file values ('c1', 'j1', 'lease', 0, '\\x504b0304')`,
  );
  await db.destroy();
  await server.leave();
  const store = await ClubStore.open({ address, nowS: () => 1000, clubId: 'c1' });
  const id = keyedId('player_target', 'p1', 'dipDepthM');
  expect(await store.coaching.targets('p1')).toMatchObject([{ id, low: 2 }]);
  expect((await store.edits.historyOf(id)).map(({ groupId }) => groupId)).toEqual(['g2', 'g4']);
  await expect(store.exportFiles.read('j1')).rejects.toMatchObject({ code: 'export-removed' });
  const { documents } = await store.hub.forCourt(0, 100);
  expect(documents.map(({ entity, row }) => (row === null ? '' : entity)).sort()).toEqual([
    ...['edit', 'edit', 'player', 'player_target', 'study'],
  ]);
  await store.close();
});
