import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import type { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { type CourtDocuments, takeNewThings } from '../../../src/sessions/hub/take-new-things.ts';
import { hasPostgres, noPostgres } from '../../helpers/postgres-cluster.ts';
import { madeResult } from '../database/opened-store.ts';
import {
  coach,
  handOver,
  memoryStore,
  postgresHub,
  rowsOf,
  type SharedClock,
  tellBack,
  travelled,
} from './court-and-hub.ts';

const hubs = [
  { engine: 'SQLite', open: memoryStore, isThere: true },
  { engine: hasPostgres ? 'PostgreSQL' : `PostgreSQL (${noPostgres})`, open: postgresHub, isThere: hasPostgres },
];

describe.each(hubs)('with a hub on $engine', ({ open, isThere }) => {
  describe.skipIf(!isThere)('', () => {
    let clock: SharedClock;
    let north: ClubStore;
    let south: ClubStore;
    let hub: ClubStore;
    let sessionId = '';

    beforeEach(async () => {
      clock = { nowS: 1_764_000_000 };
      north = await memoryStore(clock);
      south = await memoryStore(clock);
      hub = await open(clock);
      sessionId = await begin(north);
    });
    afterEach(() => Promise.all([north, south, hub].map((store) => store.close())));

    async function begin(store: ClubStore): Promise<string> {
      await store.players.seeSensor({ id: 'ball-a', placement: 'ball', description: '00' });
      const words = { name: '', timeZone: 'UTC', simulated: false, recording: null, settings: {} };
      return store.sessions.start(coach, words);
    }

    async function player(store: ClubStore, pseudonym: string, ...scopes: ('record' | 'upload')[]): Promise<string> {
      const id = await store.players.add(coach, { pseudonym });
      for (const scope of scopes) await store.players.giveConsent(coach, id, scope, 'the player');
      clock.nowS += 1;
      return id;
    }

    let index = 0;
    function shoot(store: ClubStore, session: string, playerId: string | null, setId: string | null = null) {
      clock.nowS += 4;
      const place = { sessionId: session, setId, playerId, sensorId: 'ball-a', streamIndex: 0, atS: clock.nowS };
      return store.shots.add(place, madeResult(index++));
    }

    const outcomeOf = async (store: ClubStore, shotId: string) =>
      (await store.shots.all({})).find(({ id }) => id === shotId)?.outcome;

    const both = () =>
      [
        [north, 'north'],
        [south, 'south'],
      ] as const;

    const syncAll = async () => {
      for (let round = 0; round < 3; round++) {
        for (const [store, name] of both()) {
          await handOver(store, hub, name);
          await tellBack(hub, store);
        }
      }
    };

    it('hands over shots with all that belongs to them, field by field, and each once', async () => {
      const playerId = await player(north, 'Player 07', 'record', 'upload');
      const setId = await north.sessions.startSet(coach, sessionId, { player_id: playerId, kind: 'test' }, [
        { factor: 'footwork', level: 'hop' },
      ]);
      const shots = [await shoot(north, sessionId, playerId, setId), await shoot(north, sessionId, null)];
      await north.shots.tag(coach, shots, { outcome: 'make' });
      await north.shots.addResult(shots[0] ?? '', { ...madeResult(0), analysisVersion: '2' });
      await north.corrections.set(coach, shots[0] ?? '', 'release', {
        timeS: (madeResult(0).shot.releaseS ?? 0) + 8 * (index - 2),
        resolutionS: 0.005,
      });
      await north.marks.add(coach, sessionId, { atS: clock.nowS, uncertaintyS: 0.1, origin: 'key', name: 'clap' });
      await handOver(north, hub, 'north');
      expect(await rowsOf(hub)).toEqual(await rowsOf(north));
      expect((await hub.edits.latest(100)).length).toBe((await north.edits.latest(100)).length);
    });

    it('takes documents twice and in any order, older ones after newer ones too', async () => {
      const playerId = await player(north, 'Player 07', 'record', 'upload');
      const shotId = await shoot(north, sessionId, playerId);
      const first = await handOver(north, hub, 'north');
      await north.shots.tag(coach, [shotId], { outcome: 'miss' });
      await north.shots.addResult(shotId, { ...madeResult(0), analysisVersion: '2' });
      const second = await handOver(north, hub, 'north');
      const states = await hub.hub.take({ id: 'north', name: 'north' }, travelled([...first, ...second, ...first]));
      expect(new Set(states.map(({ state }) => state))).toEqual(new Set(['older']));
      expect(await rowsOf(hub)).toEqual(await rowsOf(north));
      // A hub that got the last first, one by one.
      const other = await open(clock, true);
      const all = [...first, ...second];
      for (let left = all; left.length > 0; ) {
        const waiting: typeof left = [];
        for (const document of left.toReversed()) {
          const [result] = await other.hub.take({ id: 'north', name: 'north' }, [document]);
          if (result?.state === 'waits') waiting.unshift(document);
        }
        expect(waiting.length).toBeLessThan(left.length);
        left = waiting;
      }
      expect(await rowsOf(other)).toEqual(await rowsOf(north));
      await other.close();
    });

    it('takes a change that names a set which was changed again behind it, and is told before it', async () => {
      const shotId = await shoot(north, sessionId, null);
      await handOver(north, hub, 'north');
      const setId = await north.sessions.startSet(coach, sessionId, { name: 'ten' });
      await north.shots.putIntoSet(coach, [shotId], setId);
      await north.sessions.changeSet(coach, setId, { name: 'twenty' });
      // As the log has it now: the change of the shot, the shot, and the set last.
      const { documents } = await north.hub.forHub(await north.hub.position('handed'), 100);
      const states = [];
      for (const document of travelled(documents)) {
        states.push(...(await hub.hub.take({ id: 'north', name: 'north' }, [document])));
      }
      expect(states.map(({ state }) => state)).toEqual(documents.map(() => 'taken'));
      expect(await rowsOf(hub)).toEqual(await rowsOf(north));
      expect((await hub.edits.latest(100)).map(({ action }) => action).sort()).toEqual(
        (await north.edits.latest(100)).map(({ action }) => action).sort(),
      );
      // Alone, too, and in any order: what is not there cannot be referred to, and comes with the shot.
      const other = await open(clock, true);
      const all = (await north.hub.forHub(0, 1000)).documents;
      for (let left = travelled(all).reverse(); left.length > 0; ) {
        const waiting: typeof left = [];
        for (const document of left) {
          const [result] = await other.hub.take({ id: 'north', name: 'north' }, [document]);
          if (result?.state === 'waits') waiting.push(document);
        }
        expect(waiting.length).toBeLessThan(left.length);
        left = waiting;
      }
      expect(await rowsOf(other)).toEqual(await rowsOf(north));
      await other.close();
    });

    it('takes what comes together from several courts as it takes one after the other', async () => {
      const playerId = await player(north, 'Player 07', 'record', 'upload');
      const southSession = await begin(south);
      for (const [store, name] of both()) await handOver(store, hub, name);
      const shots = [await shoot(north, sessionId, playerId), await shoot(north, sessionId, null)];
      for (let count = 0; count < 3; count++) await shoot(south, southSession, null);
      const third = await begin(south);
      await shoot(south, third, null);
      await north.shots.tag(coach, [shots[0] ?? ''], { outcome: 'make' });
      await north.shots.addResult(shots[1] ?? '', { ...madeResult(0), analysisVersion: '2' });
      const groups: CourtDocuments[] = [];
      for (const [store, name] of both()) {
        const { documents } = await store.hub.forHub(await store.hub.position('handed'), 1000);
        groups.push({ from: { id: name, name }, documents: travelled(documents) });
      }
      // Shots go all at once, with a new session; what people changed of them is laid over behind.
      let stored = 0;
      await hub.context
        .write(async (trx) => {
          stored = (await takeNewThings(trx, hub.clubId, groups)).size;
          throw new Error('not to be kept');
        })
        .catch(() => {});
      expect(stored).toBe(7);
      // The same court's request a second time, in the same moment.
      const together = await hub.hub.takeTogether([...groups, ...groups.slice(0, 1)]);
      const states = together.slice(0, 2).flat();
      expect(states.map(({ state }) => state)).toEqual(groups.flatMap(({ documents }) => documents.map(() => 'taken')));
      expect(new Set(together[2]?.map(({ state }) => state))).toEqual(new Set(['older']));
      const alone = await open(clock, true);
      for (const [store, name] of both()) {
        for (const document of travelled((await store.hub.forHub(0, 1000)).documents)) {
          await alone.hub.take({ id: name, name }, [document]);
        }
      }
      expect(await rowsOf(hub)).toEqual(await rowsOf(alone));
      const seen = async (store: ClubStore) =>
        (await store.context.db.selectFrom('hub_seen').selectAll().where('club_id', '=', store.clubId).execute())
          .map(({ club_id: _, ...row }) => JSON.stringify(row))
          .sort();
      expect(await seen(hub)).toEqual(await seen(alone));
      await alone.close();
    });

    describe('who did not agree', () => {
      it('has sets that another player’s shot is put into here, and not on the hub', async () => {
        const setId = await north.sessions.startSet(coach, sessionId, {
          player_id: await player(north, 'Nobody Knows', 'record'),
        });
        const shotId = await shoot(north, sessionId, await player(north, 'Player 07', 'record', 'upload'));
        await handOver(north, hub, 'north');
        await north.shots.putIntoSet(coach, [shotId], setId);
        await north.shots.tag(coach, [shotId], { outcome: 'make' });
        const told = await handOver(north, hub, 'north');
        expect((await hub.shots.all({}))[0]).toMatchObject({ id: shotId, set_id: null, outcome: 'make' });
        expect((await hub.edits.latest(10)).map(({ action }) => action)).toContain('put into a set shot');
        // The shot told anew, behind the change that names the set.
        const again = travelled(told).filter(({ entity }) => entity === 'shot');
        await hub.hub.take(
          { id: 'north', name: 'north' },
          again.map((each) => ({ ...each, seq: each.seq + 1000 })),
        );
        expect((await hub.shots.all({}))[0]).toMatchObject({ id: shotId, set_id: null });
      });

      it('is not handed over, nor what belongs to the player or names the player', async () => {
        const secret = await player(north, 'Nobody Knows', 'record');
        const shotId = await shoot(north, sessionId, secret);
        await north.sessions.startSet(coach, sessionId, { player_id: secret });
        await north.players.changeSensor(coach, 'ball-a', { owner_player_id: secret });
        await north.shots.tag(coach, [shotId], { outcome: 'make' });
        const documents = await handOver(north, hub, 'north');
        expect(JSON.stringify(documents.map(({ row, parts }) => ({ row, parts })))).not.toMatch(
          new RegExp(`Nobody Knows|${secret}|${shotId}`),
        );
        expect(await hub.shots.all({})).toEqual([]);
        expect(await hub.players.list()).toEqual([]);
      });

      it('comes with all of the past after agreeing, and leaves nothing after withdrawing', async () => {
        const playerId = await player(north, 'Player 07', 'record');
        const shotId = await shoot(north, sessionId, playerId);
        await north.shots.tag(coach, [shotId], { outcome: 'make' });
        await handOver(north, hub, 'north');
        expect(await hub.shots.all({})).toEqual([]);
        await north.players.giveConsent(coach, playerId, 'upload', 'the player');
        await handOver(north, hub, 'north');
        expect(await rowsOf(hub)).toEqual(await rowsOf(north));
        expect((await hub.edits.historyOf(shotId)).length).toBe(1);
        clock.nowS += 10;
        await north.players.withdrawConsent(coach, playerId, 'upload');
        await handOver(north, hub, 'north');
        expect(await hub.shots.all({})).toEqual([]);
        expect(await hub.players.list()).toEqual([]);
        expect(await hub.edits.historyOf(shotId)).toEqual([]);
        expect((await north.shots.all({})).length).toBe(1);
        clock.nowS += 10;
        await north.players.giveConsent(coach, playerId, 'upload', 'the player');
        await handOver(north, hub, 'north');
        expect((await hub.shots.all({})).map(({ id, player_id }) => [id, player_id])).toEqual([[shotId, playerId]]);
      });

      it('withdraws on every court by withdrawing on one', async () => {
        const playerId = await player(north, 'Player 07', 'record', 'upload');
        await syncAll();
        const session = await begin(south);
        await shoot(south, session, playerId);
        await handOver(south, hub, 'south');
        expect((await hub.shots.all({})).length).toBe(1);
        clock.nowS += 10;
        await north.players.withdrawConsent(coach, playerId, 'upload');
        await syncAll();
        expect(await hub.shots.all({})).toEqual([]);
        await expect(south.players.requireConsent(playerId, 'upload')).rejects.toMatchObject({ code: 'no-consent' });
        // What was recorded on the court stays there.
        expect((await south.shots.all({})).length).toBe(1);
        await shoot(south, session, playerId);
        await syncAll();
        expect(await hub.shots.all({})).toEqual([]);
      });
    });

    describe('of two changes of the same', () => {
      it('the later stands on hub and court, whichever comes first, and both stay in the log', async () => {
        const shotId = await shoot(north, sessionId, null);
        await syncAll();
        await hub.shots.tag(coach, [shotId], { outcome: 'make' });
        clock.nowS += 5;
        await north.shots.tag(coach, [shotId], { outcome: 'miss' });
        await syncAll();
        expect([await outcomeOf(hub, shotId), await outcomeOf(north, shotId)]).toEqual(['miss', 'miss']);
        clock.nowS += 5;
        await north.shots.tag(coach, [shotId], { outcome: 'unknown' });
        clock.nowS += 5;
        await hub.shots.tag(coach, [shotId], { outcome: 'make' });
        await syncAll();
        expect([await outcomeOf(hub, shotId), await outcomeOf(north, shotId)]).toEqual(['make', 'make']);
        for (const store of [hub, north]) expect((await store.edits.historyOf(shotId)).length).toBe(4);
        expect(await rowsOf(hub)).toEqual(await rowsOf(north));
      });

      it('columns that only one of them touched are kept from both', async () => {
        const shotId = await shoot(north, sessionId, null);
        await syncAll();
        await hub.shots.tag(coach, [shotId], { notes: 'from the hub' });
        await north.shots.tag(coach, [shotId], { outcome: 'miss', missSide: 'long' });
        await syncAll();
        for (const store of [hub, north]) {
          const [shot] = await store.shots.all({});
          expect(shot).toMatchObject({ notes: 'from the hub', outcome: 'miss', miss_side: 'long' });
        }
      });

      it('the one of a person stands against the analysis', async () => {
        const shotId = await shoot(north, sessionId, null);
        const setId = await north.sessions.startSet(coach, sessionId, {});
        await syncAll();
        await hub.shots.putIntoSet(coach, [shotId], setId);
        clock.nowS += 10;
        await north.shots.addResult(shotId, { ...madeResult(0), analysisVersion: '2' });
        await syncAll();
        for (const store of [hub, north]) {
          const [shot] = await store.shots.all({});
          expect([shot?.set_id, shot?.result.analysisVersion]).toEqual([setId, '2']);
        }
      });

      it('a time set by hand on both is the later one, and one that was taken back on the hub is gone on the court', async () => {
        const shotId = await shoot(north, sessionId, null);
        const releaseS = (await north.shots.all({}))[0]?.result.shot.releaseS ?? 0;
        await syncAll();
        await north.corrections.set(coach, shotId, 'release', { timeS: releaseS + 0.01, resolutionS: 0.005 });
        clock.nowS += 1;
        await hub.corrections.set(coach, shotId, 'release', { timeS: releaseS + 0.02, resolutionS: 0.005 });
        await syncAll();
        for (const store of [hub, north]) {
          expect((await store.corrections.of([shotId])).get(shotId)).toMatchObject([{ time_s: releaseS + 0.02 }]);
        }
        clock.nowS += 1;
        await hub.corrections.remove(coach, shotId, 'release');
        await syncAll();
        for (const store of [hub, north]) expect((await store.corrections.of([shotId])).size).toBe(0);
        expect(await rowsOf(hub)).toEqual(await rowsOf(north));
      });

      it('an undo on the hub comes to the court', async () => {
        const shotId = await shoot(north, sessionId, null);
        await north.shots.tag(coach, [shotId], { outcome: 'make' });
        await syncAll();
        clock.nowS += 1;
        const [last] = await hub.edits.latest(1);
        await hub.edits.undo(coach, last?.groupId ?? '');
        await syncAll();
        expect([await outcomeOf(hub, shotId), await outcomeOf(north, shotId)]).toEqual(['unknown', 'unknown']);
      });
    });

    describe('a deletion', () => {
      it('of a player on one court beats all and reaches the hub and the other courts', async () => {
        const playerId = await player(north, 'Player 07', 'record', 'upload');
        const shotId = await shoot(north, sessionId, playerId);
        await syncAll();
        const session = await begin(south);
        await shoot(south, session, playerId);
        const late = await handOver(south, hub, 'south');
        clock.nowS += 10;
        await north.erasePlayer(playerId);
        // A later change of somebody who has not heard of it.
        clock.nowS += 10;
        await hub.shots.tag(coach, [shotId], { outcome: 'make' });
        await syncAll();
        await syncAll();
        for (const store of [north, hub, south]) {
          expect(await store.shots.all({})).toEqual([]);
          expect(await store.players.list()).toEqual([]);
        }
        // What was still on its way does not bring it back.
        const again = await hub.hub.take({ id: 'third', name: 'third' }, late);
        expect(again.map(({ state }) => state)).toContain('barred');
        expect(await hub.shots.all({})).toEqual([]);
      });

      it('leaves neither name nor id of the player in the change log and its like', async () => {
        const playerId = await player(north, 'Player 07', 'record', 'upload');
        await shoot(north, sessionId, playerId);
        await syncAll();
        await north.erasePlayer(playerId);
        await syncAll();
        for (const store of [north, hub]) {
          for (const table of ['change_log', 'hub_seen', 'hub_parked', 'player_notice', 'edit'] as const) {
            const rows = await store.context.db.selectFrom(table).selectAll().execute();
            expect(JSON.stringify(rows), table).not.toMatch(new RegExp(`${playerId}|Player 07`));
          }
        }
      });

      it('of a set or shot that was taken away on the court goes on the hub too', async () => {
        const mark = await north.marks.add(coach, sessionId, { atS: clock.nowS, uncertaintyS: 0.1, origin: 'key' });
        const setId = await north.sessions.startSet(coach, sessionId, {}, [{ factor: 'dip', level: 'none' }]);
        await shoot(north, sessionId, null, setId);
        await syncAll();
        const [begun] = await north.edits.latest(1);
        await north.marks.remove(coach, mark.id);
        await north.shots.putIntoSet(coach, [(await north.shots.all({}))[0]?.id ?? ''], null);
        await north.edits.undo(coach, begun?.groupId ?? '');
        await syncAll();
        expect(await hub.sessions.sets(sessionId)).toEqual([]);
        expect(await hub.marks.list(sessionId)).toEqual([]);
        expect(await rowsOf(hub)).toEqual(await rowsOf(north));
      });
    });

    describe('a player on two courts', () => {
      it('is one where the second court heard of the first', async () => {
        const playerId = await player(north, 'Player 07', 'record', 'upload');
        await syncAll();
        expect((await south.players.list()).map(({ id }) => id)).toEqual([playerId]);
        await south.players.requireConsent(playerId, 'record');
        const session = await begin(south);
        await shoot(south, session, playerId);
        await shoot(north, sessionId, playerId);
        await syncAll();
        expect((await hub.shots.all({ playerId })).length).toBe(2);
      });

      it('of one name are told apart, and become one when the coach says so', async () => {
        const first = await player(north, 'Player 07', 'record', 'upload');
        const second = await player(south, 'Player 07', 'record', 'upload');
        const session = await begin(south);
        await shoot(north, sessionId, first);
        await shoot(south, session, second);
        await syncAll();
        const names = async (store: ClubStore) => (await store.players.list()).map(({ pseudonym }) => pseudonym);
        for (const store of [hub, north, south]) expect(await names(store)).toEqual(['Player 07', 'Player 07 (south)']);
        clock.nowS += 1;
        await hub.hub.joinPlayers(coach, second, first);
        await syncAll();
        for (const store of [hub, north, south]) expect(await names(store)).toEqual(['Player 07']);
        expect((await hub.shots.all({ playerId: first })).length).toBe(2);
        expect((await south.shots.all({ playerId: first })).length).toBe(1);
        // A court that has not heard of it yet.
        await hub.hub.take({ id: 'third', name: 'third' }, travelled((await south.hub.forHub(0, 100)).documents));
        expect((await hub.shots.all({ playerId: first })).length).toBe(2);
      });
    });

    it('a court whose database was restored is heard again', async () => {
      const shotId = await shoot(north, sessionId, null);
      await handOver(north, hub, 'north');
      for (let k = 0; k < 5; k++) {
        clock.nowS += 1;
        await north.shots.tag(coach, [shotId], { outcome: k % 2 === 0 ? 'make' : 'miss' });
      }
      await handOver(north, hub, 'north');
      const last = await north.hub.lastChange();
      await north.hub.numberAnewAbove(last + 100);
      expect(await north.hub.waiting(last + 100)).toBeGreaterThan(3);
      await north.hub.setPosition('handed', last + 100);
      clock.nowS += 1;
      await north.shots.tag(coach, [shotId], { outcome: 'unknown' });
      await handOver(north, hub, 'north');
      expect(await outcomeOf(hub, shotId)).toBe('unknown');
      expect(await rowsOf(hub)).toEqual(await rowsOf(north));
    });
  });
});
