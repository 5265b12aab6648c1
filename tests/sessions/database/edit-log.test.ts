import fc from 'fast-check';
import { expect, it } from 'vitest';
import type { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { onBothEngines } from './on-both-engines.ts';
import { coach, madeResult, withPlayer } from './opened-store.ts';

onBothEngines((openedStore, runs) => {
  async function state(store: ClubStore, sessionId: string) {
    const shots = await store.shots.list({ sessionId });
    const sets = await store.sessions.sets(sessionId);
    return JSON.stringify([await store.players.list(), await store.players.sensors(), sets, shots]);
  }

  it('knows who changed what, newest first', async () => {
    const { store, clock } = await openedStore();
    const { sessionId } = await withPlayer(store);
    clock.nowS += 5;
    await store.sessions.change({ role: 'player', name: 'Player 07' }, sessionId, { starred: true });
    const [last, ...earlier] = await store.edits.latest();
    expect(last).toMatchObject({ action: 'change session', byRole: 'player', byName: 'Player 07', atS: clock.nowS });
    expect(earlier.map(({ action }) => action)).toContain('add player Player 07');
    await store.close();
  });

  it('remembers nothing where nothing changes', async () => {
    const { store } = await openedStore();
    const { sessionId } = await withPlayer(store);
    const before = (await store.edits.latest()).length;
    await store.sessions.change(coach, sessionId, { name: 'Tuesday' });
    expect(await store.edits.latest()).toHaveLength(before);
    await store.close();
  });

  it('undoes a change, and undoes the undoing', async () => {
    const { store, clock } = await openedStore();
    const { sessionId } = await withPlayer(store);
    await store.sessions.change(coach, sessionId, { notes: 'windy' });
    const group = (await store.edits.latest())[0]?.groupId ?? '';
    clock.nowS += 1;
    await store.edits.undo(coach, group);
    expect((await store.sessions.get(sessionId)).notes).toBe('');
    await expect(store.edits.undo(coach, group)).rejects.toMatchObject({ code: 'edit-superseded' });
    await store.edits.undo(coach, (await store.edits.latest())[0]?.groupId ?? '');
    expect((await store.sessions.get(sessionId)).notes).toBe('windy');
    await store.close();
  });

  it('refuses to undo what a later change lies over, and changes nothing', async () => {
    const { store, clock } = await openedStore();
    const { sessionId } = await withPlayer(store);
    await store.sessions.change(coach, sessionId, { notes: 'first' });
    const group = (await store.edits.latest())[0]?.groupId ?? '';
    clock.nowS += 1;
    await store.sessions.change(coach, sessionId, { notes: 'second' });
    await expect(store.edits.undo(coach, group)).rejects.toMatchObject({
      code: 'edit-superseded',
      message: expect.stringContaining('Undo the later change first'),
    });
    expect((await store.sessions.get(sessionId)).notes).toBe('second');
    await expect(store.edits.undo(coach, 'none')).rejects.toMatchObject({ code: 'store-missing' });
    await store.close();
  });

  it('undoes a change though the program or others changed other things of the row since', async () => {
    const { store, clock } = await openedStore();
    const { sessionId, playerId } = await withPlayer(store);
    const sensor = { id: 'ab'.repeat(16), placement: 'ball', description: '00' };
    await store.players.seeSensor(sensor);
    await store.players.changeSensor(coach, sensor.id, { owner_player_id: playerId });
    const group = (await store.edits.latest())[0]?.groupId ?? '';
    clock.nowS += 60;
    await store.players.seeSensor(sensor);
    await store.players.changeSensor(coach, sensor.id, { label: 'red tape' });
    await store.edits.undo(coach, group);
    expect(await store.players.sensors()).toMatchObject([{ label: 'red tape', owner_player_id: null }]);
    const round = await store.rotations.start(coach, sessionId, { playerIds: [playerId], shotsEach: 2 });
    const begun = (await store.edits.latest())[0]?.groupId ?? '';
    const place = { sessionId, sensorId: null, sensorIds: [], streamIndex: 0, atS: clock.nowS };
    await store.shots.addLive(place, madeResult(0));
    expect((await store.rotations.get(round)).shots_in_turn).toBe(1);
    await store.edits.undo(coach, begun);
    await expect(store.rotations.get(round)).rejects.toMatchObject({ code: 'store-missing' });
    await store.close();
  });

  it('never brings a consent about, nor makes a session disappear', async () => {
    const { store } = await openedStore();
    const { playerId } = await withPlayer(store);
    const groupOf = async (action: string) =>
      (await store.edits.latest()).find((group) => group.action.startsWith(action))?.groupId ?? '';
    await store.players.withdrawConsent(coach, playerId, 'record');
    await expect(store.edits.undo(coach, await groupOf('Player 07 withdraws'))).rejects.toMatchObject({
      code: 'edit-final',
      message: expect.stringContaining('note a new consent'),
    });
    await expect(store.edits.undo(coach, await groupOf('start session'))).rejects.toMatchObject({ code: 'edit-final' });
    await store.players.giveConsent(coach, playerId, 'export', 'parent');
    await store.edits.undo(coach, await groupOf('consent of Player 07 to export'));
    await expect(store.edits.undo(coach, await groupOf('undo: consent'))).rejects.toMatchObject({ code: 'edit-final' });
    await expect(store.players.requireConsent(playerId, 'record')).rejects.toMatchObject({ code: 'no-consent' });
    await store.close();
  });

  it('refuses to undo what others hang on or whose name is taken, in words', async () => {
    const { store } = await openedStore();
    const { sessionId, playerId } = await withPlayer(store);
    const setId = await store.sessions.startSet(coach, sessionId);
    const begun = (await store.edits.latest())[0]?.groupId ?? '';
    const place = { sessionId, setId, playerId, sensorId: null, streamIndex: 0, atS: 1 };
    await store.shots.add(place, madeResult(0));
    const message = expect.stringContaining('something that came later hangs on it');
    await expect(store.edits.undo(coach, begun)).rejects.toMatchObject({ code: 'edit-superseded', message });
    expect(await store.sessions.sets(sessionId)).toHaveLength(1);
    await store.players.change(coach, playerId, { pseudonym: 'Player 17' });
    const renamed = (await store.edits.latest())[0]?.groupId ?? '';
    await store.players.add(coach, { pseudonym: 'Player 07' });
    await expect(store.edits.undo(coach, renamed)).rejects.toMatchObject({ code: 'edit-superseded', message });
    await store.close();
  });

  it('tells the history of one row', async () => {
    const { store, clock } = await openedStore();
    const { sessionId } = await withPlayer(store);
    clock.nowS += 1;
    await store.sessions.change(coach, sessionId, { notes: 'first' });
    clock.nowS += 1;
    await store.sessions.change({ role: 'player', name: 'Player 07' }, sessionId, { notes: 'second' });
    const history = await store.edits.historyOf(sessionId);
    expect(history.map(({ byName, before, after }) => [byName, before?.notes, after?.notes])).toEqual([
      ['Coach A', undefined, ''],
      ['Coach A', '', 'first'],
      ['Player 07', 'first', 'second'],
    ]);
    await store.close();
  });

  it('leads back to the start from any sequence of changes', async () => {
    const step = fc.oneof(
      fc.record({ kind: fc.constant('tag' as const), from: fc.nat(5), count: fc.integer({ min: 1, max: 6 }) }),
      fc.record({ kind: fc.constant('assign' as const), from: fc.nat(5), player: fc.integer({ min: -1, max: 1 }) }),
      fc.record({
        kind: fc.constant('set' as const),
        name: fc.string({ maxLength: 8 }).filter((s) => /^[a-z]*$/.test(s)),
      }),
      fc.record({ kind: fc.constant('factor' as const), level: fc.constantFrom('hop', 'one-two', null) }),
      fc.record({ kind: fc.constant('rename' as const), number: fc.nat(99) }),
    );
    await fc.assert(
      fc.asyncProperty(fc.array(step, { maxLength: 12 }), async (steps) => {
        const { store, clock } = await openedStore();
        const { sessionId, playerId } = await withPlayer(store);
        const other = await withPlayer(store, 'Player 08');
        const players = [playerId, other.playerId];
        const ids: string[] = [];
        for (let index = 0; index < 6; index++) {
          const place = { sessionId, setId: null, playerId: null, sensorId: null, streamIndex: 0, atS: index };
          ids.push(await store.shots.add(place, madeResult(index)));
        }
        const setId = await store.sessions.startSet(coach, sessionId);
        const seen = new Set((await store.edits.latest(500)).map(({ groupId }) => groupId));
        const states = [await state(store, sessionId)];
        for (const each of steps) {
          clock.nowS += 1;
          if (each.kind === 'tag') {
            const outcome = each.count % 2 ? 'make' : 'miss';
            await store.shots.tag(coach, ids.slice(each.from, each.from + each.count), { outcome });
          } else if (each.kind === 'assign') {
            await store.shots.assign(coach, ids.slice(each.from), players[each.player] ?? null);
          } else if (each.kind === 'set') await store.sessions.changeSet(coach, setId, { name: each.name });
          else if (each.kind === 'factor') await store.sessions.setFactor(coach, setId, 'footwork', each.level);
          else await store.players.change(coach, playerId, { pseudonym: `P ${each.number}` });
          states.push(await state(store, sessionId));
        }
        const changes = (await store.edits.latest(500)).filter(({ groupId }) => !seen.has(groupId));
        for (const { groupId } of changes) {
          clock.nowS += 1;
          await store.edits.undo(coach, groupId);
        }
        expect(await state(store, sessionId)).toBe(states[0]);
        await store.close();
      }),
      { numRuns: runs(40) },
    );
  });
});
