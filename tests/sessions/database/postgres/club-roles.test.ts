import pg from 'pg';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { ClubStore } from '../../../../src/sessions/database/club-store.ts';
import { addPostgresClub } from '../../../../src/sessions/database/postgres/postgres-engine.ts';
import { clubRole, hubRole } from '../../../../src/sessions/database/postgres/secure-tables.ts';
import { hasPostgres, noPostgres, type PostgresCluster, sharedCluster } from '../../../helpers/postgres-cluster.ts';
import { coach, madeResult, withPlayer } from '../opened-store.ts';

const nowS = 1_764_000_000;

/** One of everything that a club has. */
async function filledClub(address: string, name: string) {
  const clubId = await addPostgresClub(address, nowS, name);
  const store = await ClubStore.open({ address, clubId, nowS: () => nowS });
  const { playerId, sessionId } = await withPlayer(store);
  // The same sensor, lent from one club to the other.
  await store.players.seeSensor({ id: 'lent', placement: 'ball', description: '00' });
  const setId = await store.sessions.startSet(coach, sessionId, { player_id: playerId }, [{ factor: 'a', level: 'b' }]);
  const place = { sessionId, setId, playerId, sensorId: 'lent', streamIndex: 0, atS: nowS };
  const shotId = await store.shots.add(place, madeResult(0));
  await store.marks.add(coach, sessionId, { atS: nowS, uncertaintyS: 0.1, origin: 'key' });
  await store.coaching.setLoad(coach, playerId, '2026-11-20', { shots: 4, minutes: 3 });
  await store.rotations.start(coach, sessionId, { playerIds: [playerId], shotsEach: 2 });
  await store.jobs.ask(coach, { kind: 'reanalysis', subject: sessionId });
  await store.close();
  return { clubId, playerId, sessionId, setId, shotId };
}

describe.skipIf(!hasPostgres)(`the role of a club${hasPostgres ? '' : ` (${noPostgres})`}`, () => {
  let cluster: PostgresCluster;
  let database = '';
  let own: Awaited<ReturnType<typeof filledClub>>;
  let other: Awaited<ReturnType<typeof filledClub>>;
  let client: pg.Client;
  let tables: string[] = [];

  beforeAll(async () => {
    cluster = await sharedCluster();
    database = await cluster.createDatabase();
    const address = cluster.address(database);
    own = await filledClub(address, 'own');
    other = await filledClub(address, 'other');
    client = new pg.Client({ connectionString: address });
    await client.connect();
    const { rows } = await client.query(`select relname from pg_class
      where relnamespace = 'public'::regnamespace and relkind in ('r', 'p') and relname not like 'kysely%'`);
    tables = rows.map(({ relname }) => relname as string);
    await client.query(`set role "${clubRole(own.clubId)}"`);
  });
  afterAll(() => client?.end());

  const count = async (sql: string, values: readonly unknown[] = []) =>
    Number((await client.query(`select count(*) as n from ${sql}`, [...values])).rows[0].n);
  const code = (sql: string, values: readonly unknown[] = []) =>
    client.query(sql, [...values]).then(
      ({ rowCount }) => `changed ${rowCount}`,
      (error: { code: string }) => error.code,
    );

  it('sees its own rows', async () => {
    expect(await count('player')).toBe(1);
    expect(await count('shot')).toBe(1);
    expect(await count('club')).toBe(1);
    expect(await count('sensor')).toBe(1);
  });

  it('sees no row of another club in any table', async () => {
    const seen: string[] = [];
    for (const table of tables.filter((name) => name !== 'shot_key' && !/^shot_(\d|before|from)/.test(name))) {
      const column = table === 'club' ? 'id' : 'club_id';
      if ((await count(`"${table}" where ${column} <> $1`, [own.clubId])) > 0) seen.push(table);
    }
    expect(seen).toEqual([]);
    // The negative control: they are there.
    await client.query('reset role');
    expect(await count('shot where club_id = $1', [other.clubId])).toBe(1);
    expect(await count('edit where club_id = $1', [other.clubId])).toBeGreaterThan(3);
    await client.query(`set role "${clubRole(own.clubId)}"`);
  });

  it('reaches no part of the shots and no key by its name', async () => {
    const parts = tables.filter((name) => name === 'shot_key' || /^shot_(\d|before|from)/.test(name));
    expect(parts.length).toBeGreaterThan(4);
    for (const part of parts) expect(await code(`select * from "${part}"`)).toBe('42501');
  });

  it('changes and deletes no row of another club', async () => {
    expect(await code('update player set notes = $1 where id = $2', ['x', other.playerId])).toBe('changed 0');
    expect(await code('update shot set notes = $1', ['mine'])).toBe('changed 1');
    expect(await code('delete from edit where club_id = $1', [other.clubId])).toBe('changed 0');
    expect(await code('delete from mark where session_id = $1', [other.sessionId])).toBe('changed 0');
    expect(await code('update club set name = $1 where id = $2', ['x', other.clubId])).toBe('changed 0');
    expect(await code('update club set id = $1', [other.clubId])).toBe('42501');
    expect(await code('delete from club')).toBe('42501');
  });

  it('changes and deletes no row of another club in any table, by its own columns either', async () => {
    for (const table of tables.filter(
      (name) => name !== 'club' && name !== 'shot_key' && !/^shot_(\d|before|from)/.test(name),
    )) {
      const where = `where club_id = '${other.clubId}'`;
      expect(await code(`delete from "${table}" ${where}`), table).toBe('changed 0');
      expect(await code(`update "${table}" set club_id = club_id ${where}`), table).toBe('changed 0');
      expect(await code(`insert into "${table}" select * from "${table}" ${where}`), table).toBe('changed 0');
    }
  });

  it('puts no row into another club', async () => {
    const mark = `insert into mark values ('m-x', $1, $2, 1, 1, 'host', 'key', null, null, null, '')`;
    expect(await code(mark, [other.clubId, other.sessionId])).toBe('42501');
    expect(await code('update mark set club_id = $1', [other.clubId])).toBe('42501');
    expect(await code('update player set club_id = $1', [other.clubId])).toBe('42501');
  });

  it('hangs nothing of its own on a row of another club', async () => {
    const mark = `insert into mark values ('m-y', $1, $2, 1, 1, 'host', 'key', null, null, null, '')`;
    // Foreign key: there is no such session in this club.
    expect(await code(mark, [own.clubId, other.sessionId])).toBe('23503');
    expect(await code('update shot set player_id = $1', [other.playerId])).toBe('23503');
    const result = `insert into shot_result values ('r-y', $1, $2, 0, '1', '{}', 1, '', '', '{}')`;
    expect(await code(result, [own.clubId, other.shotId])).toBe('23503');
    expect(await code(result, [own.clubId, own.shotId])).toBe('changed 1');
  });

  it('makes no table, no role, no club, and becomes no other role', async () => {
    expect(await code('create table mine (x text)')).toBe('42501');
    expect(await code('create role somebody')).toBe('42501');
    expect(await code(`select seamwise_add_club('x', 'x', 1)`)).toBe('42501');
    expect(await code(`select seamwise_club_role('x')`)).toBe('42501');
    expect(await code('alter table player disable row level security')).toBe('42501');
    expect(await code(`select set_config('role', 'postgres', false)`)).toBe('changed 1');
    // That was the administrator's own connection; a user that logs in as a member of one club has no way there.
    await client.query('reset role');
    await client.query(`create role analyst login in role "${clubRole(own.clubId)}"`);
    const analyst = new pg.Client({ connectionString: cluster.address(database, 'analyst') });
    await analyst.connect();
    const said = (sql: string) =>
      analyst.query(sql).then(
        ({ rows }) => rows,
        (error: { code: string }) => error.code,
      );
    try {
      expect(await said('select id from player')).toEqual([]);
      await analyst.query(`set role "${clubRole(own.clubId)}"`);
      expect(await said('select id from player')).toEqual([{ id: own.playerId }]);
      expect(await said(`set role "${clubRole(other.clubId)}"`)).toBe('42501');
      expect(await said(`set role ${hubRole}`)).toBe('42501');
      expect(await said('set role postgres')).toBe('42501');
      expect(await said(`set session authorization postgres`)).toBe('42501');
    } finally {
      await analyst.end();
      await client.query('drop role analyst');
      await client.query(`set role "${clubRole(own.clubId)}"`);
    }
  });

  it('of the hub serves every club without owning a table', async () => {
    await cluster.run(database, `create role "hub_of_${database}" login in role ${hubRole}`);
    const address = cluster.address(database, `hub_of_${database}`);
    const served = await ClubStore.open({ address, clubId: other.clubId, nowS: () => nowS });
    expect((await served.players.list()).map(({ id }) => id)).toEqual([other.playerId]);
    const added = await addPostgresClub(address, nowS, 'new one');
    const empty = await ClubStore.open({ address, clubId: added, nowS: () => nowS });
    expect(await empty.players.list()).toEqual([]);
    await withPlayer(empty);
    expect(await empty.players.list()).toHaveLength(1);
    await empty.close();
    await served.close();
    const hub = new pg.Client({ connectionString: address });
    await hub.connect();
    const said = (sql: string) =>
      hub.query(sql).then(
        ({ rows }) => rows.length,
        (error: { code: string }) => error.code,
      );
    expect(await said('select id from club')).toBe(3);
    // By itself it has the rights of its clubs' roles and is none of them, so that no row is its own.
    expect(await said('select * from player')).toBe(0);
    expect(await said('create table mine (x text)')).toBe('42501');
    await hub.end();
  });

  it('stands on every table with rows of clubs', async () => {
    const { rows } = await client.query(`select c.relname from pg_class c
      where c.relnamespace = 'public'::regnamespace and c.relkind in ('r', 'p') and not c.relispartition
        and c.relname not like 'kysely%' and not (c.relrowsecurity and exists (select from pg_policy p where p.polrelid = c.oid))`);
    expect(rows).toEqual([]);
  });
});
