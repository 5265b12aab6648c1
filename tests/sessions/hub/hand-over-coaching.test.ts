import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { drillLibrary as drills } from '../../../src/coaching/drills.ts';
import type { ClubStore } from '../../../src/sessions/database/club-store.ts';
import type { StudyDesign } from '../../../src/sessions/database/study-records.ts';
import { hasPostgres, noPostgres } from '../../helpers/postgres-cluster.ts';
import { coach, handOver, memoryStore, postgresHub, rowsOf, type SharedClock, tellBack } from './court-and-hub.ts';

const hubs = [
  { engine: 'SQLite', open: memoryStore, isThere: true },
  { engine: hasPostgres ? 'PostgreSQL' : `PostgreSQL (${noPostgres})`, open: postgresHub, isThere: hasPostgres },
];

const band = (low: number) => ({ target: null, low, high: null });

describe.each(hubs)('coaching with a hub on $engine', ({ open, isThere }) => {
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
      const words = { name: '', timeZone: 'UTC', simulated: false, recording: null, settings: {} };
      sessionId = await north.sessions.start(coach, words);
    });
    afterEach(() => Promise.all([north, south, hub].map((store) => store.close())));

    async function player(pseudonym: string, isAgreed = true): Promise<string> {
      const id = await north.players.add(coach, { pseudonym });
      for (const scope of isAgreed ? (['record', 'upload'] as const) : (['record'] as const)) {
        await north.players.giveConsent(coach, id, scope, 'the player');
      }
      clock.nowS += 1;
      return id;
    }

    const syncAll = async () => {
      for (let round = 0; round < 3; round++) {
        for (const [store, name] of [
          [north, 'north'],
          [south, 'south'],
        ] as const) {
          await handOver(store, hub, name);
          await tellBack(hub, store);
        }
      }
    };

    const prescribe = (store: ClubStore, playerId: string) =>
      store.prescriptions.add(coach, {
        ...{ playerId, fault: 'late-dip', drill: drills[0]!, measure: 'dipDepthM', faultSide: 1 },
        ...{ smallestChange: 0.02, namedS: clock.nowS, retentionDueS: null, notes: '' },
      });

    const design = (playerIds: readonly string[]): StudyDesign => ({
      ...{ levels: ['hop', 'step'], labels: [], playerIds, shotsASet: 5, order: [[0, 1]] },
      ...{ margins: {}, measures: ['dipDepthM'] },
    });
    const plan = (store: ClubStore, playerIds: readonly string[]) =>
      store.studies.add(coach, { name: 'hop', factor: 'footwork', blinded: false, seed: 's' }, design(playerIds));

    /** One of everything on the first court. */
    async function everything(playerId: string) {
      await north.coaching.setTarget(coach, playerId, 'dipDepthM', band(0.1));
      await north.coaching.setLoad(coach, playerId, '2026-11-20', { shots: 40, minutes: 30 });
      const drillId = await north.coaching.addDrill(coach, { ...drills[0]!, title: 'slow dip' });
      const setId = await north.sessions.startSet(coach, sessionId, { player_id: playerId, name: 'ten' });
      await north.coaching.setBestSets(coach, playerId, [setId]);
      const prescriptionId = await prescribe(north, playerId);
      const place = { spot: '', distanceM: null };
      await north.prescriptions.startBlock(coach, prescriptionId, sessionId, { role: 'baseline', ...place });
      const studyId = await plan(north, [playerId]);
      await north.studies.startSet(coach, studyId, sessionId, { row: 0, ...place });
      const roundId = await north.rotations.start(coach, sessionId, { playerIds: [playerId], shotsEach: 3 });
      clock.nowS += 1;
      return { drillId, setId, prescriptionId, studyId, roundId };
    }

    const namesOf = async (store: ClubStore) => [...(await rowsOf(store)).keys()].map((name) => name.split(' ')[0]);

    it('is handed over with all of it, field by field, from then on too', async () => {
      const made = await everything(await player('Player 07'));
      await handOver(north, hub, 'north');
      expect(await rowsOf(hub)).toEqual(await rowsOf(north));
      const kinds = ['player_target', 'best_set', 'own_drill', 'prescription', 'proof_block', 'load_entry'];
      for (const kind of [...kinds, 'study', 'study_set', 'rotation', 'rotation_player']) {
        expect(await namesOf(hub)).toContain(kind);
      }
      // The program counts on, which is nobody's change.
      const rounds = north.context.db.updateTable('rotation').set({ turn: 4, shots_in_turn: 2 });
      await rounds.where('id', '=', made.roundId).execute();
      await north.rotations.change(coach, made.roundId, { ended: true });
      await north.prescriptions.change(coach, made.prescriptionId, { ended: true, notes: 'done' });
      await north.studies.close(coach, made.studyId);
      await handOver(north, hub, 'north');
      expect(await rowsOf(hub)).toEqual(await rowsOf(north));
      expect(await hub.rotations.get(made.roundId)).toMatchObject({ turn: 4, shots_in_turn: 2 });
    });

    it('holds on every court: what was made on another and on the hub; what is of a set stays where that was shot', async () => {
      const playerId = await player('Player 07');
      const { prescriptionId, drillId, studyId } = await everything(playerId);
      await syncAll();
      const onHub = await prescribe(hub, playerId);
      await hub.coaching.setTarget(coach, playerId, 'releaseS', band(0.3));
      clock.nowS += 1;
      await south.coaching.setTarget(coach, playerId, 'pauseS', band(0.2));
      await syncAll();
      for (const store of [north, hub, south]) {
        expect((await store.prescriptions.of(playerId)).map(({ id }) => id)).toEqual([prescriptionId, onHub]);
        expect((await store.coaching.targets(playerId)).map(({ measure }) => measure)).toEqual([
          ...['dipDepthM', 'pauseS', 'releaseS'],
        ]);
        expect((await store.coaching.drills()).map(({ id }) => id)).toEqual([drillId]);
        expect((await store.studies.list()).map(({ id }) => id)).toEqual([studyId]);
        expect((await store.coaching.loadEntries(playerId)).length).toBe(1);
      }
      expect(await south.coaching.bestSets(playerId)).toEqual([]);
      expect(await rowsOf(hub)).toEqual(await rowsOf(north));
      // A block of the prescription that is shot on the other court.
      const words = { name: '', timeZone: 'UTC', simulated: false, recording: null, settings: {} };
      const other = await south.sessions.start(coach, words);
      const place = { role: 'drill', spot: '', distanceM: null };
      await south.prescriptions.startBlock(coach, prescriptionId, other, place);
      await syncAll();
      expect((await hub.prescriptions.blocks(prescriptionId)).map(({ role }) => role)).toEqual(['baseline', 'drill']);
    });

    it('comes to a court though the player was changed again behind it', async () => {
      const playerId = await player('Player 07');
      await prescribe(north, playerId);
      await handOver(north, hub, 'north');
      await hub.players.change(coach, playerId, { notes: 'left ankle' });
      const { documents } = await hub.hub.forCourt(0, 1000);
      const place = (entity: string) => documents.findIndex((each) => each.entity === entity && each.row !== null);
      expect(place('player')).toBeLessThan(place('prescription'));
      await tellBack(hub, south);
      expect((await south.prescriptions.of(playerId)).length).toBe(1);
    });

    it('of two changes of the same, made on two courts, the later stands, and both stay in the log', async () => {
      const playerId = await player('Player 07');
      await syncAll();
      await south.coaching.setTarget(coach, playerId, 'dipDepthM', band(0.3));
      clock.nowS += 5;
      await north.coaching.setTarget(coach, playerId, 'dipDepthM', band(0.1));
      const low = async () => {
        const all = await Promise.all([north, hub, south].map((store) => store.coaching.targets(playerId)));
        return all.map((targets) => targets.map((target) => target.low));
      };
      await syncAll();
      expect(await low()).toEqual([[0.1], [0.1], [0.1]]);
      clock.nowS += 5;
      await south.coaching.setTarget(coach, playerId, 'dipDepthM', band(0.4));
      clock.nowS += 5;
      await hub.coaching.setTarget(coach, playerId, 'dipDepthM', null);
      await syncAll();
      expect(await low()).toEqual([[], [], []]);
      const [first] = await hub.context.db
        .selectFrom('edit')
        .select('row_id')
        .where('table_name', '=', 'player_target')
        .execute();
      for (const store of [north, hub, south]) {
        expect((await store.edits.historyOf(first?.row_id ?? '')).length).toBe(4);
      }
      // Taken back on a court, it is there again everywhere, as it was where it had been taken away.
      clock.nowS += 5;
      const undone = (await north.edits.latest(10)).find(({ action, isUndone }) => /^target/.test(action) && !isUndone);
      await north.edits.undo(coach, undone?.groupId ?? '');
      await syncAll();
      expect(await low()).toEqual([[0.1], [0.1], [0.1]]);
    });

    it('is the same whatever came first, and however often', async () => {
      const playerId = await player('Player 07');
      await everything(playerId);
      await north.coaching.setTarget(coach, playerId, 'dipDepthM', band(0.2));
      const all = JSON.parse(JSON.stringify((await north.hub.forHub(0, 1000)).documents));
      await handOver(north, hub, 'north');
      await hub.coaching.setTarget(coach, playerId, 'dipDepthM', null);
      const once = await rowsOf(hub);
      // The same under later numbers, as after a restored database: what was taken away on the hub is not brought back.
      for (const document of all.toReversed()) {
        await hub.hub.take({ id: 'north', name: 'north' }, [{ ...document, seq: document.seq + 1000 }]);
      }
      expect(await rowsOf(hub)).toEqual(once);
      const other = await open(clock, true);
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

    it('goes on the hub when it is taken back on the court, and the other way round', async () => {
      const playerId = await player('Player 07');
      await prescribe(north, playerId);
      await syncAll();
      const undo = async (store: ClubStore) => {
        clock.nowS += 1;
        const meant = (await store.edits.latest(10)).find(
          ({ action, isUndone }) => /prescribe/.test(action) && !isUndone,
        );
        await store.edits.undo(coach, meant?.groupId ?? '');
        await syncAll();
        return (await Promise.all([north, hub, south].map((each) => each.prescriptions.of(playerId)))).map(
          (of) => of.length,
        );
      };
      expect(await undo(north)).toEqual([0, 0, 0]);
      expect(await undo(hub)).toEqual([1, 1, 1]);
    });

    it('that somebody took back while another court went on to use it stands everywhere, whichever the hub hears first', async () => {
      const playerId = await player('Player 07');
      const words = { name: '', timeZone: 'UTC', simulated: false, recording: null, settings: {} };
      const other = await south.sessions.start(coach, words);
      const place = { spot: '', distanceM: null };
      for (const first of ['north', 'south'] as const) {
        const [prescriptionId, studyId] = [await prescribe(north, playerId), await plan(north, [playerId])];
        await syncAll();
        clock.nowS += 1;
        await south.prescriptions.startBlock(coach, prescriptionId, other, { role: 'baseline', ...place });
        await south.studies.startSet(coach, studyId, other, { row: 0, ...place });
        clock.nowS += 1;
        for (const { groupId, action, isUndone } of await north.edits.latest(4)) {
          if (/^(prescribe|plan)/.test(action) && !isUndone) await north.edits.undo(coach, groupId);
        }
        if (first === 'north') await handOver(north, hub, 'north');
        else await handOver(south, hub, 'south');
        await syncAll();
        for (const store of [north, hub, south]) {
          expect((await store.prescriptions.get(prescriptionId)).player_id).toBe(playerId);
          expect((await store.studies.get(studyId)).design.playerIds).toEqual([playerId]);
        }
        expect((await hub.prescriptions.blocks(prescriptionId)).length).toBe(1);
        expect((await hub.studies.sets(studyId)).length).toBe(1);
        await south.prescriptions.change(coach, prescriptionId, { ended: true });
        await south.studies.close(coach, studyId);
        clock.nowS += 1;
      }
    });

    describe('of who did not agree', () => {
      it('stays on the court, what the player is one of several in too, and comes with the agreement', async () => {
        const secret = await player('Nobody Knows', false);
        const open07 = await player('Player 07');
        const { prescriptionId } = await everything(secret);
        const ofBoth = await plan(north, [open07, secret]);
        const roundId = await north.rotations.start(coach, sessionId, { playerIds: [open07, secret], shotsEach: 2 });
        const documents = await handOver(north, hub, 'north');
        const told = JSON.stringify(documents.map(({ row, parts }) => ({ row, parts })));
        expect(told).not.toMatch(new RegExp(`Nobody Knows|${secret}|${prescriptionId}|${ofBoth}|${roundId}`));
        expect(
          (await namesOf(hub)).filter((name) => /target|prescr|best|block|load|study|rotation/.test(name ?? '')),
        ).toEqual([]);
        clock.nowS += 10;
        await north.players.giveConsent(coach, secret, 'upload', 'the player');
        await handOver(north, hub, 'north');
        expect(await rowsOf(hub)).toEqual(await rowsOf(north));
        clock.nowS += 10;
        await north.players.withdrawConsent(coach, secret, 'upload');
        await syncAll();
        const left = JSON.stringify([...(await rowsOf(hub)).values()]);
        expect(left).not.toContain(secret);
        expect(await hub.coaching.targets(secret)).toEqual([]);
        // What the court has of its own player stays with it.
        expect((await north.coaching.targets(secret)).length).toBe(1);
        expect((await north.prescriptions.blocks(prescriptionId)).length).toBe(1);
        expect((await north.studies.get(ofBoth)).design.playerIds).toEqual([open07, secret]);
        // And all of it comes back after agreeing anew.
        clock.nowS += 10;
        await north.players.giveConsent(coach, secret, 'upload', 'the player');
        await syncAll();
        expect((await hub.prescriptions.blocks(prescriptionId)).length).toBe(1);
        expect((await hub.coaching.targets(secret)).length).toBe(1);
      });
    });

    it('of a deleted player goes everywhere, and what was on its way does not bring it back', async () => {
      const playerId = await player('Player 07');
      await everything(playerId);
      await syncAll();
      await south.coaching.setTarget(coach, playerId, 'pauseS', band(0.2));
      const late = JSON.parse(JSON.stringify((await north.hub.forHub(0, 1000)).documents));
      clock.nowS += 10;
      await hub.erasePlayer(playerId);
      await syncAll();
      await hub.hub.take({ id: 'third', name: 'third' }, late);
      await syncAll();
      for (const store of [north, hub, south]) {
        const rows = [...(await rowsOf(store))].map(([name, row]) => JSON.stringify({ name, row })).join('\n');
        expect(rows).not.toMatch(new RegExp(`${playerId}|Player 07`));
        expect(rows).not.toMatch(
          /"(player_target|best_set|prescription|proof_block|load_entry|study_set|rotation_player) /,
        );
        for (const table of ['change_log', 'hub_seen', 'hub_parked', 'edit', 'job'] as const) {
          const all = await store.context.db
            .selectFrom(table)
            .selectAll()
            .where('club_id', '=', store.clubId)
            .execute();
          expect(JSON.stringify(all), table).not.toMatch(new RegExp(`${playerId}|Player 07`));
        }
      }
    });

    it('of a player who is joined with another becomes the other’s, whose own bands stand', async () => {
      const [first, second] = [await player('Player 07'), await player('Player 12')];
      await everything(second);
      await syncAll();
      await hub.coaching.setTarget(coach, first, 'dipDepthM', band(0.5));
      clock.nowS += 1;
      await hub.hub.joinPlayers(coach, second, first);
      await syncAll();
      const late = JSON.parse(JSON.stringify((await north.hub.forHub(0, 1000)).documents));
      await hub.hub.take({ id: 'third', name: 'third' }, late);
      for (const store of [north, hub, south]) {
        expect((await store.prescriptions.of(first)).length).toBe(1);
        expect((await store.coaching.targets(first)).map(({ low }) => low)).toEqual([0.5]);
        expect((await store.studies.list())[0]?.design.playerIds).toEqual([first]);
      }
    });

    it('of sensors is told to every court: calibrations as they were made, each once', async () => {
      const calibration = (madeAtS: number) => ({
        ...{ sensorId: 'ball-a', madeAtS, accelBiasMps2: [0.1, 0, 0], accelScale: [1, 1, 1] },
        ...{ accelBiasStandardErrorMps2: [0, 0, 0], accelScaleStandardError: [0, 0, 0], accelCheckErrorsMps2: [] },
        gyro: null,
      });
      await north.calibrations.add(calibration(100) as never);
      await north.calibrations.add(calibration(100) as never);
      await south.calibrations.add(calibration(200) as never);
      await syncAll();
      for (const store of [north, hub, south]) {
        expect((await store.calibrations.of('ball-a')).map(({ madeAtS }) => madeAtS)).toEqual([200, 100]);
        expect(await store.calibrations.of('ball-b')).toEqual([]);
      }
      await north.context.db.deleteFrom('sensor_calibration').where('made_s', '=', 100).execute();
      await syncAll();
      expect((await hub.calibrations.all()).length).toBe(2);
    });
  });
});
