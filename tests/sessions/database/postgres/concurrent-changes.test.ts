import { sql } from 'kysely';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { SeamwiseError } from '../../../../src/foundation/errors.ts';
import { ClubStore } from '../../../../src/sessions/database/club-store.ts';
import { hasPostgres, noPostgres, sharedCluster } from '../../../helpers/postgres-cluster.ts';
import { coach, madeResult, withPlayer } from '../opened-store.ts';

/** Connections of their own each, as processes of one hub have. */
const processes = [4, 5, 6];
const nowS = 1_764_000_000;

describe.skipIf(!hasPostgres)(`changes of several processes at once${hasPostgres ? '' : ` (${noPostgres})`}`, () => {
  let stores: ClubStore[] = [];
  beforeEach(async () => {
    const cluster = await sharedCluster();
    const address = cluster.address(await cluster.createDatabase());
    stores = [];
    for (const connections of processes) {
      stores.push(await ClubStore.open({ address: `${address}?connections=${connections}`, nowS: () => nowS }));
    }
  });
  afterEach(() => Promise.all(stores.map((store) => store.close())));
  const first = () => stores[0] as ClubStore;
  /** The same work by each of the processes, some times. @returns codes of the errors, or `done`. */
  const race = (times: number, work: (store: ClubStore, at: number) => Promise<unknown>) =>
    Promise.all(
      Array.from({ length: times }, (_, at) =>
        work(stores[at % stores.length] as ClubStore, at).then(
          () => 'done',
          (error: unknown) => {
            if (error instanceof SeamwiseError) return error.code;
            throw error;
          },
        ),
      ),
    );

  it('give one player a name', async () => {
    const ends = await race(12, (store) => store.players.add(coach, { pseudonym: 'Player 12' }));
    expect(ends.filter((end) => end === 'done')).toHaveLength(1);
    expect(ends.filter((end) => end === 'store-taken')).toHaveLength(11);
  });

  it('count every shot of a round', async () => {
    const one = await withPlayer(first(), 'P 1');
    const two = await withPlayer(first(), 'P 2');
    const { sessionId } = one;
    await first().rotations.start(coach, sessionId, { playerIds: [one.playerId, two.playerId], shotsEach: 3 });
    const place = { sessionId, sensorId: null, sensorIds: [], streamIndex: 0 };
    await race(42, (store, at) => store.shots.addLive({ ...place, atS: nowS + at }, madeResult(at)));
    const counts = await first().shots.counts({ sessionId });
    expect(counts.map(({ player_id, count }) => [player_id, count]).sort()).toEqual(
      [
        [one.playerId, 21],
        [two.playerId, 21],
      ].sort(),
    );
    expect(await first().rotations.running(sessionId)).toMatchObject([{ turn: 14, shots_in_turn: 0 }]);
  });

  it('add shots to sessions of their own beside each other, and in the same moment make the part that these need', async () => {
    const sessions = await Promise.all(stores.map((store, at) => withPlayer(store, `P ${at}`)));
    await race(30, (store, at) => {
      const { sessionId } = sessions[at % sessions.length] ?? { sessionId: '' };
      const place = { sessionId, sensorId: null, sensorIds: [], streamIndex: 0, atS: Date.UTC(2012, at % 4, 2) / 1000 };
      return store.shots.addLive(place, madeResult(at));
    });
    for (const { sessionId } of sessions) expect(await first().shots.list({ sessionId })).toHaveLength(10);
  });

  it('number the sets of a study without gap or double', async () => {
    const { playerId, sessionId } = await withPlayer(first());
    const design = {
      ...{ levels: ['a', 'b'], labels: ['a', 'b'], playerIds: [playerId], shotsASet: 10, order: [[0, 1, 0, 1, 0, 1]] },
      ...{ margins: {}, measures: [] },
    };
    const study = await first().studies.add(coach, { name: 's', factor: 'f', blinded: false, seed: 'x' }, design);
    const words = { row: 0, spot: '', distanceM: null };
    const ends = await race(9, (store) => store.studies.startSet(coach, study, sessionId, words));
    expect(ends.filter((end) => end === 'store-value')).toHaveLength(3);
    const sets = await first().studies.sets(study);
    expect(sets.map(({ place }) => place)).toEqual([0, 1, 2, 3, 4, 5]);
    expect(sets.filter(({ set }) => set.ended_s === null)).toHaveLength(1);
  });

  it('keep one current result of a shot, one target of a measure and one level of a condition', async () => {
    const { playerId, sessionId } = await withPlayer(first());
    const setId = await first().sessions.startSet(coach, sessionId);
    const place = { sessionId, setId: null, playerId: null, sensorId: null, streamIndex: 0, atS: nowS };
    const shotId = await first().shots.add(place, madeResult(0));
    await race(9, (store, at) => store.shots.addResult(shotId, { ...madeResult(0), analysisVersion: `v${at}` }));
    const results = await first().shots.results(shotId);
    expect(results).toHaveLength(10);
    expect(results.filter(({ isCurrent }) => isCurrent)).toHaveLength(1);
    const band = (low: number) => ({ target: null, low, high: null });
    const ends = [
      ...(await race(6, (store, at) => store.coaching.setTarget(coach, playerId, 'spinHz', band(at)))),
      ...(await race(6, (store, at) => store.sessions.setFactor(coach, setId, 'footwork', `level ${at}`))),
      ...(await race(6, (store, at) =>
        store.coaching.setLoad(coach, playerId, '2026-11-20', { shots: at, minutes: 1 }),
      )),
      ...(await race(6, (store, at) => store.keep.changePolicy(coach, { days: at + 1, bytes: null }))),
    ];
    expect(new Set(ends)).toEqual(new Set(['done']));
    expect(await first().coaching.targets(playerId)).toHaveLength(1);
    expect((await first().sessions.set(setId)).factors).toHaveLength(1);
  });

  it('undo a change once', async () => {
    const { sessionId } = await withPlayer(first());
    await first().sessions.change(coach, sessionId, { notes: 'windy' });
    const group = (await first().edits.latest(1))[0]?.groupId ?? '';
    const ends = await race(6, (store) => store.edits.undo(coach, group));
    expect(ends.sort()).toEqual(['done', ...Array(5).fill('edit-superseded')]);
    expect((await first().sessions.get(sessionId)).notes).toBe('');
  });

  it('give no shot to a player who has withdrawn', async () => {
    const { playerId, sessionId } = await withPlayer(first());
    const place = { sessionId, setId: null, playerId: null, sensorId: null, streamIndex: 0, atS: nowS };
    const ids: string[] = [];
    for (let at = 0; at < 12; at++) ids.push(await first().shots.add(place, madeResult(at)));
    await race(13, (store, at) =>
      at === 6
        ? store.players.withdrawConsent(coach, playerId, 'record')
        : store.shots.assign(coach, [ids[at > 6 ? at - 1 : at] ?? ''], playerId),
    );
    const withdrawn = (await first().edits.latest(100)).find(({ action }) => action.includes('withdraws'));
    // Ids of several processes need not rise in the order of the changes; a transaction has its number once it writes.
    const order = await first()
      .context.db.selectFrom('edit')
      .select(['group_id', 'action'])
      .orderBy(sql`xmin::text::bigint`)
      .execute();
    const last = order.findIndex(({ group_id }) => group_id === withdrawn?.groupId);
    expect(order.slice(last + 1).filter(({ action }) => action === 'assign shot')).toEqual([]);
  });
});
