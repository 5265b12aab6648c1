import path from 'node:path';
import pg from 'pg';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { ClubStore } from '../../../../src/sessions/database/club-store.ts';
import { addPostgresClub } from '../../../../src/sessions/database/postgres/postgres-engine.ts';
import { clubRole } from '../../../../src/sessions/database/postgres/secure-tables.ts';
import {
  hasPostgres,
  noPostgres,
  type PostgresCluster,
  removeCluster,
  startCluster,
} from '../../../helpers/postgres-cluster.ts';
import { coach, madeResult, withPlayer } from '../opened-store.ts';

const nowS = 1_764_000_000;

/** What DEVELOPERS.md says of backup and restore, on a second server that knows nothing of the first. */
describe.skipIf(!hasPostgres)(`a backup by pg_dump${hasPostgres ? '' : ` (${noPostgres})`}`, () => {
  let first: PostgresCluster;
  let second: PostgresCluster;
  beforeAll(async () => {
    // Servers of their own: roles are those of a whole server.
    first = await startCluster();
    second = await startCluster();
  });
  afterAll(async () => {
    for (const cluster of [first, second]) if (cluster) await removeCluster(cluster);
  });

  async function filled(address: string, clubId: string) {
    const store = await ClubStore.open({ address, clubId, nowS: () => nowS });
    const { sessionId, playerId } = await withPlayer(store);
    for (let index = 0; index < 30; index++) {
      const place = { sessionId, setId: null, playerId, sensorId: null, streamIndex: 0, atS: nowS + index * 300_000 };
      await store.shots.add(place, madeResult(index));
    }
    const seen = await everything(store);
    await store.close();
    return seen;
  }
  const everything = async (store: ClubStore) => [
    await store.players.list(),
    await store.sessions.list(),
    await store.shots.all({}),
    await store.edits.latest(100),
  ];

  it('gives on another server the same database: clubs, shots in their parts, roles and what keeps clubs apart', async () => {
    const database = await first.createDatabase('drill');
    const clubs = [
      await addPostgresClub(first.address(database), nowS, 'one'),
      await addPostgresClub(first.address(database), nowS, 'two'),
    ] as const;
    const before = [await filled(first.address(database), clubs[0]), await filled(first.address(database), clubs[1])];
    const dump = path.join(first.folder, `${database}.dump`);
    await first.program('pg_dump', '--format=custom', `--file=${dump}`, database);
    const roles = await first.program('pg_dumpall', '--roles-only', '--no-role-passwords');
    // Of the roles those of this program; the server's administrator is there already.
    await second.run(
      'postgres',
      ...roles.split('\n').filter((line) => /seamwise_/.test(line) && /^(CREATE|GRANT)/.test(line)),
    );
    await second.run('postgres', `create database "${database}" template template0`);
    await second.program('pg_restore', '--exit-on-error', `--dbname=${database}`, dump);
    const address = second.address(database);
    for (const [at, clubId] of clubs.entries()) {
      const store = await ClubStore.open({ address, clubId, nowS: () => nowS });
      expect(await everything(store)).toEqual(before[at]);
      const [player] = await store.players.list();
      await store.players.change(coach, player?.id ?? '', { notes: 'and it goes on' });
      await store.close();
    }
    const client = new pg.Client({ connectionString: address });
    await client.connect();
    await client.query(`set role "${clubRole(clubs[0])}"`);
    expect((await client.query('select distinct club_id from shot')).rows).toEqual([{ club_id: clubs[0] }]);
    await client.end();
    expect(await parts(second, database)).toEqual(await parts(first, database));
  });

  it('restored without the roles is healed by the next start with the address of the owner', async () => {
    const database = await first.createDatabase('drill');
    const clubId = await addPostgresClub(first.address(database), nowS, 'alone');
    const before = await filled(first.address(database), clubId);
    const dump = path.join(first.folder, `${database}.dump`);
    await first.program('pg_dump', '--format=custom', '--no-owner', '--no-privileges', `--file=${dump}`, database);
    const other = await startCluster();
    try {
      await other.run(
        'postgres',
        `create database "${database}" template template0`,
        'create role seamwise_hub nologin',
      );
      await other.program('pg_restore', '--exit-on-error', `--dbname=${database}`, dump);
      const store = await ClubStore.open({ address: other.address(database), nowS: () => nowS });
      expect(await everything(store)).toEqual(before);
      await store.close();
    } finally {
      await removeCluster(other);
    }
  });

  const parts = async (cluster: PostgresCluster, database: string) =>
    (
      await cluster.run(
        database,
        'select tableoid::regclass::text as part, count(*)::int as n from shot group by 1 order by 1',
      )
    )[0]?.rows;
});
