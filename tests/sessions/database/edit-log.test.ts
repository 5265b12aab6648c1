import fc from 'fast-check';
import { expect, it } from 'vitest';
import type { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { coach, madeResult, openedStore, withPlayer } from './opened-store.ts';

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
    { numRuns: 40 },
  );
});
