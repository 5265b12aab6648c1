import path from 'node:path';
import { beforeAll, describe, expect, it } from 'vitest';
import { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { openSqlite } from '../../../src/sessions/database/open-sqlite.ts';
import { moveClub } from '../../../src/sessions/database/postgres/move-club.ts';
import { hasPostgres, noPostgres, type PostgresCluster, sharedCluster } from '../../helpers/postgres-cluster.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';
import { coach, madeResult, withPlayer } from '../../sessions/database/opened-store.ts';
import { runCli } from '../run-cli.ts';

const startS = 1_764_000_000;

/** A club of two years with something in nearly every table. */
async function filledFile(): Promise<string> {
  const file = path.join(temporaryFolder(), 'club.db');
  const clock = { nowS: startS };
  const store = await ClubStore.open({ file, nowS: () => clock.nowS });
  const { playerId, sessionId } = await withPlayer(store);
  const other = await withPlayer(store, 'Player 08');
  await store.players.seeSensor({ id: 'ab'.repeat(16), placement: 'ball', description: '00' });
  await store.players.changeSensor(coach, 'ab'.repeat(16), { owner_player_id: playerId, label: 'red \u{1f3c0} tape' });
  const setId = await store.sessions.startSet(coach, sessionId, { player_id: playerId }, [{ factor: 'f', level: 'a' }]);
  const ids: string[] = [];
  for (let index = 0; index < 450; index++) {
    const atS = startS + index * 140_000 + 1 / 3;
    const place = { sessionId, setId, playerId, sensorId: 'ab'.repeat(16), streamIndex: 0, atS };
    ids.push(await store.shots.add(place, madeResult(index), { seq: index, head: { shotId: `told ${index}` } }));
  }
  clock.nowS += 100;
  await store.shots.tag(coach, ids.slice(0, 40), { outcome: 'miss', missSide: 'short', notes: 'wind\nand sun' });
  await store.shots.addResult(ids[3] ?? '', { ...madeResult(3), analysisVersion: '2' });
  await store.rotations.start(coach, sessionId, { playerIds: [playerId, other.playerId], shotsEach: 2 });
  await store.marks.add(coach, sessionId, { atS: startS, uncertaintyS: 0.25, origin: 'key' });
  await store.coaching.setLoad(coach, playerId, '2026-11-20', { shots: 4, minutes: 2.5 });
  await store.coaching.setBestSets(coach, playerId, [setId]);
  await store.keep.changePolicy(coach, { days: 30, bytes: null });
  await store.edits.undo(coach, (await store.edits.latest())[0]?.groupId ?? '');
  await store.close();
  return file;
}

describe.skipIf(!hasPostgres)(`hub move${hasPostgres ? '' : ` (${noPostgres})`}`, () => {
  let cluster: PostgresCluster;
  beforeAll(async () => {
    cluster = await sharedCluster();
  });
  const move = (file: string, database: string, ...words: string[]) =>
    runCli(['hub', 'move', file, '--to', cluster.address(database), ...words]);

  it('brings everything over, and the club goes on there', async () => {
    const file = await filledFile();
    const database = await cluster.createDatabase();
    const { code, stdout, stderr } = await move(file, database);
    expect({ code, stderr }).toEqual({ code: 0, stderr: '' });
    expect(stdout).toContain('shot: 450 rows');
    expect(stdout).toMatch(/is moved: \d+ rows of \d+ tables, each read back and found the same/);
    const old = await ClubStore.open({ file, nowS: () => startS + 1000 });
    const moved = await ClubStore.open({ address: cluster.address(database), nowS: () => startS + 1000 });
    expect(moved.clubId).toBe(old.clubId);
    for (const ask of [
      (store: ClubStore) => store.players.list(),
      (store: ClubStore) => store.shots.all({}),
      (store: ClubStore) => store.edits.latest(500),
      (store: ClubStore) => store.sessions.list(),
      (store: ClubStore) => store.shots.latestTold(100),
      (store: ClubStore) => store.keep.policy(),
    ]) {
      expect(await ask(moved)).toEqual(await ask(old));
    }
    const [last] = await moved.edits.latest();
    await moved.edits.undo(coach, last?.groupId ?? '');
    await moved.close();
    await old.close();
  });

  it('refuses a database that holds a club, but beside others when that is said, and never twice', async () => {
    const file = await filledFile();
    const database = await cluster.createDatabase();
    const there = await ClubStore.open({ address: cluster.address(database), nowS: () => startS });
    await withPlayer(there);
    const refused = await move(file, database);
    expect(refused.code).toBe(1);
    expect(refused.stderr).toContain('expected an empty database, it holds "This club"');
    expect((await move(file, database, '--beside')).code).toBe(0);
    expect(await there.players.list()).toHaveLength(1);
    const again = await move(file, database, '--beside');
    expect(again.code).toBe(1);
    expect(again.stderr).toContain('is in it already. Nothing was changed.');
    await there.close();
  });

  it.each([
    [
      'comes out otherwise',
      'mark',
      "new.name := 'spoilt'; return new",
      /table mark: row ".*" came out otherwise: name was "", is "spoilt"/,
    ],
    ['gets lost', 'best_set', 'return null', /table best_set: row ".*" is missing behind the move/],
    ['is refused', 'edit', "raise 'no more'", /table edit: the database takes one of the rows .* not: no more/],
  ])('leaves nothing behind where a row %s', async (_what, table, spoil, words) => {
    const file = await filledFile();
    const database = await cluster.createDatabase();
    await (await ClubStore.open({ address: cluster.address(database), nowS: () => startS })).close();
    await cluster.run(
      database,
      'delete from club',
      `create function spoil() returns trigger language plpgsql as $$ begin ${spoil}; end $$`,
      `create trigger spoiling before insert on ${table} for each row execute function spoil()`,
    );
    const address = cluster.address(database);
    const moved = moveClub({ file, address, nowS: () => startS });
    await expect(moved).rejects.toMatchObject({ code: 'club-not-moved', message: expect.stringMatching(words) });
    const { code, stderr } = await move(file, database);
    expect(code).toBe(1);
    expect(stderr).toContain('Nothing was changed');
    const [clubs, shots] = await cluster.run(database, 'select id from club', 'select id from shot');
    expect([clubs?.rows, shots?.rows]).toEqual([[], []]);
  });

  it('names the row that the database does not take', async () => {
    const file = await filledFile();
    const sqlite = openSqlite(file);
    sqlite.exec('pragma foreign_keys = off');
    sqlite.exec(`update mark set session_id = 'gone'`);
    sqlite.close();
    const { code, stderr } = await move(file, await cluster.createDatabase());
    expect(code).toBe(1);
    expect(stderr).toMatch(/table mark: the database takes one of the rows .* not: .*foreign key/);
  });

  it('names what is wrong with file and address', async () => {
    const database = await cluster.createDatabase();
    const missing = await move(path.join(temporaryFolder(), 'club.db'), database);
    expect(missing).toMatchObject({ code: 1, stderr: expect.stringContaining('there is no such file') });
    const usage = await runCli(['hub', 'move', 'club.db', '--to', 'club.example']);
    expect(usage).toMatchObject({
      code: 2,
      stderr: expect.stringContaining('expected an address that begins with postgres://'),
    });
  });
});
