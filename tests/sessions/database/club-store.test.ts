import { copyFileSync, readdirSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { openSqlite } from '../../../src/sessions/database/open-sqlite.ts';
import { tempFolder } from '../../helpers/temp-folder.ts';
import { madeShot } from '../../server/made-shots.ts';
import { onBothEngines } from './on-both-engines.ts';
import { coach, madeResult, withPlayer } from './opened-store.ts';

const folder = tempFolder();
describe('the file', () => {
  it('keeps a commit through the end of the process and of the machine', async () => {
    const file = path.join(folder, 'durable.db');
    const durable = await ClubStore.open({ file, nowS: () => 1 });
    // 2 is FULL: SQLite documentation, "PRAGMA synchronous".
    expect(Number(await durable.pragma('synchronous'))).toBe(2);
    expect(await durable.pragma('journal_mode')).toBe('wal');
    expect(Number(await durable.pragma('foreign_keys'))).toBe(1);
    await durable.close();
  });

  it('is read again by the next run', async () => {
    const file = path.join(folder, 'again.db');
    const first = await ClubStore.open({ file, nowS: () => 5 });
    await first.players.add(coach, { pseudonym: 'Player 12' });
    await first.close();
    const second = await ClubStore.open({ file, nowS: () => 6 });
    expect((await second.players.list()).map(({ pseudonym }) => pseudonym)).toEqual(['Player 12']);
    expect(second.clubId).toBe(first.clubId);
    await second.close();
  });

  it('holds everything by itself when it is closed', async () => {
    const file = path.join(folder, 'closed.db');
    const closing = await ClubStore.open({ file, nowS: () => 5 });
    await closing.players.add(coach, { pseudonym: 'Player 21' });
    await closing.close();
    expect(readdirSync(folder).filter((name) => name.startsWith('closed.db'))).toEqual(['closed.db']);
    const copy = path.join(folder, 'copied-by-hand.db');
    copyFileSync(file, copy);
    const copied = await ClubStore.open({ file: copy, nowS: () => 6 });
    expect(await copied.players.list()).toMatchObject([{ pseudonym: 'Player 21' }]);
    await copied.close();
  });

  it('is closed at once while another program has it open, and nothing is lost', async () => {
    const file = path.join(folder, 'shared.db');
    const first = await ClubStore.open({ file, nowS: () => 5 });
    const second = await ClubStore.open({ file, nowS: () => 5 });
    await second.players.add(coach, { pseudonym: 'Player 22' });
    await second.close();
    await first.players.add(coach, { pseudonym: 'Player 23' });
    expect(await first.pragma('journal_mode')).toBe('wal');
    await first.close();
    const again = await ClubStore.open({ file, nowS: () => 6 });
    expect((await again.players.list()).map(({ pseudonym }) => pseudonym)).toEqual(['Player 22', 'Player 23']);
    await again.close();
  });

  it('is copied while it is open', async () => {
    const file = path.join(folder, 'backed-up.db');
    const original = await ClubStore.open({ file, nowS: () => 5 });
    await original.players.add(coach, { pseudonym: "O'Player" });
    const copy = path.join(folder, "it's a copy.db");
    await original.backupTo(copy);
    await original.close();
    const copied = await ClubStore.open({ file: copy, nowS: () => 6 });
    expect(await copied.players.list()).toHaveLength(1);
    await copied.close();
  });

  it('that is none is refused and left alone', async () => {
    const file = path.join(folder, 'text.db');
    writeFileSync(file, 'this is not a database, and long enough to be seen as none');
    await expect(ClubStore.open({ file, nowS: () => 1 })).rejects.toMatchObject({
      code: 'database-unusable',
      message: expect.stringContaining('Restore a backup'),
    });
  });

  it('of a newer program is refused', async () => {
    const file = path.join(folder, 'newer.db');
    await (await ClubStore.open({ file, nowS: () => 1 })).close();
    const sqlite = openSqlite(file);
    sqlite.exec("insert into kysely_migration values ('999-from-the-future', '2030-01-01')");
    sqlite.close();
    await expect(ClubStore.open({ file, nowS: () => 1 })).rejects.toMatchObject({
      code: 'database-version',
      message: expect.stringContaining('999-from-the-future'),
    });
    expect(readdirSync(folder).filter((name) => name.startsWith('newer.db.before'))).toEqual([]);
  });
});

onBothEngines((openedStore) => {
  let store: ClubStore;
  let clock: { nowS: number };

  beforeEach(async () => {
    ({ store, clock } = await openedStore());
  });
  afterEach(() => store.close());

  async function addShots(sessionId: string, count: number, playerId: string | null = null): Promise<string[]> {
    const ids: string[] = [];
    for (let index = 0; index < count; index++) {
      const place = { sessionId, setId: null, playerId, sensorId: null, streamIndex: 0, atS: clock.nowS + index };
      ids.push(await store.shots.add(place, madeResult(index)));
    }
    return ids;
  }

  describe('players', () => {
    it('have names of their own', async () => {
      await store.players.add(coach, { pseudonym: ' Player 03 ' });
      await expect(store.players.add(coach, { pseudonym: 'Player 03' })).rejects.toMatchObject({ code: 'store-taken' });
    });

    it.each([
      [{ pseudonym: '' }, 'pseudonym is "" (0 characters): expected 1 to 60 characters'],
      [{ pseudonym: 'a\u0007' }, 'expected 1 to 60 characters without control characters'],
      [{ pseudonym: 'x', ball_size: 6.5 }, 'ball size is 6.5: expected a whole number from 5 to 7'],
      [{ pseudonym: 'x', hoop_height_m: Number.NaN }, 'hoop height in m is NaN: expected a number from 1.5 to 4'],
      [{ pseudonym: 'x', hand: 'middle' as 'left' }, 'hand is "middle": expected right, left'],
    ])('with %o are refused', async (words, message) => {
      await expect(store.players.add(coach, words)).rejects.toMatchObject({
        code: 'store-value',
        message: expect.stringContaining(message),
      });
      expect(await store.players.list()).toEqual([]);
    });

    it('are recorded with consent alone', async () => {
      const { playerId, sessionId } = await withPlayer(store);
      await store.players.requireConsent(playerId, 'record');
      await expect(store.players.requireConsent(playerId, 'export')).rejects.toMatchObject({
        code: 'no-consent',
        message: expect.stringContaining('Player 07 has not agreed to an export of own data'),
      });
      await store.players.withdrawConsent(coach, playerId, 'record');
      const [id] = await addShots(sessionId, 1);
      await expect(store.shots.assign(coach, [id as string], playerId)).rejects.toMatchObject({ code: 'no-consent' });
      await expect(store.sessions.startSet(coach, sessionId, { player_id: playerId })).rejects.toMatchObject({
        code: 'no-consent',
      });
      expect(await store.players.consents(playerId)).toMatchObject([
        { given_by_role: 'parent', withdrawn_s: clock.nowS },
      ]);
    });

    it('own sensors', async () => {
      const { playerId } = await withPlayer(store);
      await store.players.seeSensor({ id: 'ab'.repeat(16), placement: 'ball', description: '00' });
      await store.players.changeSensor(coach, 'ab'.repeat(16), { owner_player_id: playerId, label: 'red tape' });
      clock.nowS += 60;
      await store.players.seeSensor({ id: 'ab'.repeat(16), placement: 'ball', description: '01' });
      expect(await store.players.sensors()).toMatchObject([
        { label: 'red tape', owner_player_id: playerId, description: '01', last_seen_s: clock.nowS },
      ]);
    });
  });

  describe('sessions and sets', () => {
    it('are listed page by page, newest first, with their counts', async () => {
      const ids: string[] = [];
      for (let i = 0; i < 5; i++) {
        clock.nowS += 100;
        const words = { name: `S${i}`, timeZone: 'UTC', simulated: false, recording: null, settings: {} };
        ids.push(await store.sessions.start(coach, words));
      }
      await addShots(ids[4] as string, 3);
      await store.sessions.startSet(coach, ids[4] as string);
      const first = await store.sessions.list({ limit: 2 });
      expect(first.map(({ name, shotCount, setCount }) => [name, shotCount, setCount])).toEqual([
        ['S4', 3, 1],
        ['S3', 0, 0],
      ]);
      const next = await store.sessions.list({ limit: 2, beforeS: first[1]?.started_s ?? 0 });
      expect(next.map(({ name }) => name)).toEqual(['S2', 'S1']);
    });

    it('have conditions and totals', async () => {
      const { sessionId, playerId } = await withPlayer(store);
      const setId = await store.sessions.startSet(
        coach,
        sessionId,
        { player_id: playerId, kind: 'test', distance_m: 6.75 },
        [{ factor: 'footwork', level: 'hop' }],
      );
      await store.sessions.setFactor(coach, setId, 'footwork', 'one-two');
      await store.sessions.setFactor(coach, setId, 'ball', '6');
      await store.sessions.changeSet(coach, setId, { total: { made: 31, attempted: 50 }, ended: true });
      expect(await store.sessions.sets(sessionId)).toMatchObject([
        {
          total_made: 31,
          total_attempted: 50,
          ended_s: clock.nowS,
          factors: [
            { factor: 'ball', level: '6' },
            { factor: 'footwork', level: 'one-two' },
          ],
        },
      ]);
      await store.sessions.setFactor(coach, setId, 'ball', null);
      expect((await store.sessions.sets(sessionId))[0]?.factors).toEqual([{ factor: 'footwork', level: 'one-two' }]);
      await expect(
        store.sessions.changeSet(coach, setId, { total: { made: 51, attempted: 50 } }),
      ).rejects.toMatchObject({
        code: 'store-value',
        message: '51 shots made of 50: expected a whole number from 0 to 50',
      });
    });

    it('that are not there are told as missing', async () => {
      const error = { code: 'store-missing', message: 'there is no session with the id "nothing" in this club' };
      await expect(store.sessions.get('nothing')).rejects.toMatchObject(error);
      await expect(store.sessions.startSet(coach, 'nothing')).rejects.toMatchObject(error);
    });
  });

  describe('shots', () => {
    it('come back as they were measured, in the order of their time', async () => {
      const { sessionId } = await withPlayer(store);
      await addShots(sessionId, 4);
      const shots = await store.shots.list({ sessionId });
      expect(shots.map(({ result }) => result.shot)).toEqual([0, 1, 2, 3].map((index) => madeShot(index)));
      expect(shots[0]?.result).toMatchObject({ analysisVersion: '1', parameters: { ballSize: 7 } });
    });

    it('are found page by page, by player, time and condition', async () => {
      const { sessionId, playerId } = await withPlayer(store);
      await addShots(sessionId, 5);
      const mine = await addShots(sessionId, 5, playerId);
      const page = await store.shots.list({ playerId, limit: 2 });
      expect(page.map(({ id }) => id)).toEqual(mine.slice(0, 2));
      const last = page[1] as (typeof page)[number];
      const rest = await store.shots.list({ playerId, after: { atS: last.at_s, id: last.id } });
      expect(rest.map(({ id }) => id)).toEqual(mine.slice(2));
      const some = await store.shots.list({ playerId, fromS: clock.nowS + 1, untilS: clock.nowS + 3 });
      expect(some.map(({ id }) => id)).toEqual(mine.slice(1, 3));
      expect(await store.shots.list({ factor: { factor: 'footwork', level: 'hop' } })).toEqual([]);
    });

    it('keep old results beside the new one', async () => {
      const { sessionId } = await withPlayer(store);
      const [id = ''] = await addShots(sessionId, 1);
      clock.nowS += 1000;
      await store.shots.addResult(id, { ...madeResult(0), shot: madeShot(0, 'final', { contactKind: 'board' }) });
      const results = await store.shots.results(id);
      expect(results.map(({ isCurrent, shot }) => [isCurrent, shot.contactKind])).toEqual([
        [false, 'ring'],
        [true, 'board'],
      ]);
      expect((await store.shots.list({ sessionId }))[0]?.result.shot.contactKind).toBe('board');
    });

    it('are tagged and given to another player, many at once', async () => {
      const { sessionId, playerId } = await withPlayer(store);
      const ids = await addShots(sessionId, 3);
      await store.shots.tag(coach, ids, { outcome: 'miss', missSide: 'short' });
      await store.shots.assign(coach, ids.slice(1), playerId);
      expect(
        (await store.shots.list({ sessionId })).map((shot) => [shot.outcome, shot.miss_side, shot.player_id]),
      ).toEqual([
        ['miss', 'short', null],
        ['miss', 'short', playerId],
        ['miss', 'short', playerId],
      ]);
      await store.shots.tag(coach, ids, { outcome: 'make' });
      expect((await store.shots.list({ sessionId }))[0]).toMatchObject({ outcome: 'make', miss_side: null });
      await expect(store.shots.tag(coach, ids, { outcome: 'make', missSide: 'long' })).rejects.toMatchObject({
        code: 'store-value',
      });
    });

    it('are tagged all or none', async () => {
      const { sessionId } = await withPlayer(store);
      const [id = ''] = await addShots(sessionId, 1);
      await expect(store.shots.tag(coach, [id, 'none'], { outcome: 'make' })).rejects.toMatchObject({
        code: 'store-missing',
      });
      expect((await store.shots.list({ sessionId }))[0]?.outcome).toBe('unknown');
    });
  });
});
