import { mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { openSqlite } from '../../../src/sessions/database/open-sqlite.ts';
import { SqliteThread } from '../../../src/sessions/database/sqlite-thread.ts';
import { coach, madeResult, withPlayer } from './opened-store.ts';

let folder: string;

beforeAll(() => {
  folder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-sqlite-thread-'));
});

afterAll(() => rmSync(folder, { recursive: true, force: true }));

const inThread = (name: string) =>
  ClubStore.open({ file: path.join(folder, name), nowS: () => 1_764_000_000, inThread: true });

it('commits through the end of process and machine, as in one thread', async () => {
  const store = await inThread('durable.db');
  // 2 is FULL: SQLite documentation, "PRAGMA synchronous".
  expect(Number(await store.pragma('synchronous'))).toBe(2);
  expect(await store.pragma('journal_mode')).toBe('wal');
  expect(Number(await store.pragma('foreign_keys'))).toBe(1);
  await store.close();
});

it('has a shot in the file when it says so', async () => {
  const store = await inThread('shots.db');
  const { playerId, sessionId } = await withPlayer(store);
  const place = { sessionId, setId: null, playerId, sensorId: null, streamIndex: 0, atS: 1_764_000_000 };
  const id = await store.shots.add(place, madeResult(0));
  // Another connection sees what was committed and nothing else.
  const other = openSqlite(path.join(folder, 'shots.db'));
  expect(other.run('select id from shot', []).rows).toEqual([{ id }]);
  other.close();
  const [shot] = await store.shots.list({ sessionId });
  expect(shot?.result.shot).toEqual(madeResult(0).shot);
  await store.close();
});

it('leaves no log behind when it is closed', async () => {
  const store = await inThread('closed.db');
  await store.players.add(coach, { pseudonym: 'Player 21' });
  await store.close();
  expect(readdirSync(folder).filter((name) => name.startsWith('closed.db'))).toEqual(['closed.db']);
});

it('never mixes what is asked at once with a change that is under way', async () => {
  const store = await inThread('at-once.db');
  const { playerId, sessionId } = await withPlayer(store);
  const place = { sessionId, setId: null, playerId, sensorId: null, streamIndex: 0, atS: 1_764_000_000 };
  const seen: (readonly number[])[] = [];
  const shots = Array.from({ length: 20 }, (_, index) => store.shots.add(place, madeResult(index)));
  const reads = Array.from({ length: 20 }, async () => {
    const listed = await store.shots.list({ sessionId });
    seen.push(listed.map(({ shot_index }) => shot_index));
  });
  await Promise.all([...shots, ...reads]);
  // A shot is never there without its result, which the list joins; and the last reading knows all.
  expect((await store.shots.list({ sessionId })).map(({ shot_index }) => shot_index).sort((a, b) => a - b)).toEqual(
    Array.from({ length: 20 }, (_, index) => index),
  );
  expect(seen).toHaveLength(20);
  await store.close();
});

it('waits for its turn where another program changes the same database, and refuses nobody', async () => {
  const [one, other] = [await inThread('shared.db'), await inThread('shared.db')];
  const { sessionId } = await withPlayer(one);
  const place = { sessionId, sensorId: null, sensorIds: [], streamIndex: 0, atS: 1_764_000_000 };
  const shots = Array.from({ length: 60 }, (_, index) =>
    (index % 2 === 0 ? one : other).shots.addLive(place, madeResult(index)),
  );
  const stored = await Promise.all(shots);
  expect(new Set(stored).size).toBe(60);
  expect(await one.shots.list({ sessionId })).toHaveLength(60);
  await one.close();
  await other.close();
});

it('takes back all of a change of which one part fails', async () => {
  const store = await inThread('failing.db');
  const { sessionId } = await withPlayer(store);
  const place = { sessionId, setId: 'none', playerId: null, sensorId: null, streamIndex: 0, atS: 1 };
  await expect(store.shots.add(place, madeResult(0))).rejects.toThrow(/FOREIGN KEY/);
  expect(await store.shots.list({ sessionId })).toEqual([]);
  await store.players.add(coach, { pseudonym: 'Player 31' });
  await store.close();
});

it('says what is wrong with a file that is no database', async () => {
  writeFileSync(path.join(folder, 'text.db'), 'this is not a database, and long enough to be seen as none');
  await expect(inThread('text.db')).rejects.toMatchObject({
    code: 'database-unusable',
    message: expect.stringContaining('not a database'),
  });
});

it('refuses what comes after it was closed', async () => {
  const thread = await SqliteThread.open(':memory:');
  await thread.run('create table a (b)', []);
  await thread.close();
  await expect(thread.run('select * from a', [])).rejects.toThrow('the database is closed');
  await thread.close();
});

it('answers in the order of what was asked, failures among them', async () => {
  const thread = await SqliteThread.open(':memory:');
  const asked = [
    thread.run('create table a (b integer)', []),
    thread.run('insert into a values (?), (?)', [1, 2]),
    thread.run('select no from a', []),
    thread.run('select b from a order by b', []),
  ];
  const answers = await Promise.allSettled(asked);
  expect(answers.map(({ status }) => status)).toEqual(['fulfilled', 'fulfilled', 'rejected', 'fulfilled']);
  expect(answers[1]).toMatchObject({ value: { changed: { count: 2 } } });
  expect(answers[3]).toMatchObject({ value: { rows: [{ b: 1 }, { b: 2 }], changed: null } });
  await thread.close();
});
