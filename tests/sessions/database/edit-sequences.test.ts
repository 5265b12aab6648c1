import fc from 'fast-check';
import { expect, it } from 'vitest';
import { SeamwiseError } from '../../../src/foundation/errors.ts';
import type { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { missSides, outcomes } from '../../../src/sessions/database/tables.ts';
import { onBothEngines } from './on-both-engines.ts';
import { coach, madeResult, withPlayer } from './opened-store.ts';

onBothEngines((openedStore, runs) => {
  /** What a coach with a quick thumb does, in any order: what makes no sense is refused and changes nothing. */
  const step = fc.oneof(
    fc.record({ kind: fc.constant('shot' as const) }),
    fc.record({
      kind: fc.constant('tag' as const),
      from: fc.nat(8),
      count: fc.integer({ min: 1, max: 4 }),
      outcome: fc.constantFrom(...outcomes),
      side: fc.option(fc.constantFrom(...missSides)),
    }),
    fc.record({ kind: fc.constant('assign' as const), from: fc.nat(8), count: fc.nat(8), player: fc.nat(3) }),
    fc.record({ kind: fc.constant('start set' as const), player: fc.nat(3) }),
    fc.record({ kind: fc.constant('change set' as const), set: fc.nat(3), made: fc.nat(12), ended: fc.boolean() }),
    fc.record({ kind: fc.constant('put' as const), from: fc.nat(8), count: fc.nat(8), set: fc.nat(3) }),
    fc.record({ kind: fc.constant('factor' as const), set: fc.nat(3), level: fc.constantFrom('hop', 'one-two', null) }),
    fc.record({
      kind: fc.constant('round' as const),
      players: fc.uniqueArray(fc.nat(2), { minLength: 1 }),
      each: fc.integer({ min: 1, max: 3 }),
    }),
    fc.record({ kind: fc.constant('turn' as const), turn: fc.nat(5), ended: fc.boolean() }),
    fc.record({ kind: fc.constant('rename' as const), player: fc.nat(2), name: fc.nat(3) }),
    fc.record({ kind: fc.constant('consent' as const), player: fc.nat(2), withdraw: fc.boolean() }),
    fc.record({ kind: fc.constant('owner' as const), player: fc.nat(3) }),
    fc.record({ kind: fc.constant('mark' as const) }),
    fc.record({ kind: fc.constant('undo' as const), back: fc.nat(5) }),
  );
  type Step = typeof step extends fc.Arbitrary<infer T> ? T : never;

  const sensorId = 'ab'.repeat(16);

  class Practice {
    readonly store: ClubStore;
    readonly clock: { nowS: number };
    readonly sessionId: string;
    readonly players: readonly string[];
    readonly #sets: string[] = [];
    #shots = 0;

    constructor(store: ClubStore, clock: { nowS: number }, sessionId: string, players: readonly string[]) {
      this.store = store;
      this.clock = clock;
      this.sessionId = sessionId;
      this.players = players;
    }

    static async begin(): Promise<Practice> {
      const { store, clock } = await openedStore();
      const { sessionId, playerId } = await withPlayer(store, 'P 0');
      const players = [playerId];
      for (const pseudonym of ['P 1', 'P 2']) {
        const id = await store.players.add(coach, { pseudonym });
        await store.players.giveConsent(coach, id, 'record', 'parent');
        players.push(id);
      }
      await store.players.seeSensor({ id: sensorId, placement: 'ball', description: '00' });
      return new Practice(store, clock, sessionId, players);
    }

    async do(step: Step): Promise<void> {
      const { store, sessionId, clock } = this;
      const player = (number: number) => this.players[number] ?? null;
      const set = (number: number) => this.#sets[number] ?? 'none';
      if (step.kind === 'shot') {
        const place = { sessionId, sensorId, sensorIds: [sensorId], streamIndex: 0, atS: clock.nowS };
        await store.shots.addLive(place, madeResult(this.#shots++));
      } else if (step.kind === 'tag') {
        const ids = await store.shots.range(sessionId, step.from + 1, step.from + step.count);
        await store.shots.tag(coach, ids, { outcome: step.outcome, ...(step.side && { missSide: step.side }) });
      } else if (step.kind === 'assign') {
        const ids = await store.shots.range(sessionId, step.from + 1, step.from + step.count);
        await store.shots.assign(coach, ids, player(step.player));
      } else if (step.kind === 'start set') {
        this.#sets.push(await store.sessions.startSet(coach, sessionId, { player_id: player(step.player) }));
      } else if (step.kind === 'change set') {
        const total = { made: step.made, attempted: 10 };
        await store.sessions.changeSet(coach, set(step.set), { total, ended: step.ended });
      } else if (step.kind === 'put') {
        const ids = await store.shots.range(sessionId, step.from + 1, step.from + step.count);
        await store.shots.putIntoSet(coach, ids, step.set === 3 ? null : set(step.set));
      } else if (step.kind === 'factor') await store.sessions.setFactor(coach, set(step.set), 'footwork', step.level);
      else if (step.kind === 'round') {
        const playerIds = step.players.map((number) => this.players[number] ?? '');
        await store.rotations.start(coach, sessionId, { playerIds, shotsEach: step.each });
      } else if (step.kind === 'turn') {
        const [round] = await store.rotations.running(sessionId);
        await store.rotations.change(coach, round?.id ?? 'none', { turn: step.turn, ended: step.ended });
      } else if (step.kind === 'rename') {
        await store.players.change(coach, this.players[step.player] ?? '', { pseudonym: `P ${step.name}` });
      } else if (step.kind === 'consent') {
        const id = this.players[step.player] ?? '';
        if (step.withdraw) await store.players.withdrawConsent(coach, id, 'record');
        else await store.players.giveConsent(coach, id, 'record', 'parent');
      } else if (step.kind === 'owner') {
        await store.players.changeSensor(coach, sensorId, { owner_player_id: player(step.player) });
      } else if (step.kind === 'mark') {
        await store.marks.add(coach, sessionId, { atS: clock.nowS, uncertaintyS: 0.1, origin: 'key' });
      } else {
        const group = (await store.edits.latest(50))[step.back];
        await store.edits.undo(coach, group?.groupId ?? 'none');
      }
    }

    /** Everything that people see. */
    async state(): Promise<string> {
      const { store, sessionId } = this;
      const shots = (await store.shots.list({ sessionId })).map(({ result: _, ...shot }) => shot);
      const sets = await store.sessions.sets(sessionId);
      const consents = await Promise.all(this.players.map((id) => store.players.consents(id)));
      const rounds = await store.rotations.running(sessionId);
      const session = await store.sessions.get(sessionId);
      const sensors = await store.players.sensors();
      return JSON.stringify([
        await store.players.list(),
        consents,
        sensors,
        session,
        sets,
        rounds,
        await store.marks.list(sessionId),
        shots,
      ]);
    }
  }

  it('any sequence of changes, shots and undos: refused ones change nothing, and every change is remembered with who and when', async () => {
    await fc.assert(
      fc.asyncProperty(fc.array(step, { minLength: 5, maxLength: 40 }), async (steps) => {
        const practice = await Practice.begin();
        const { store, clock } = practice;
        let refused = 0;
        for (const each of steps) {
          clock.nowS += 1;
          const before = await practice.state();
          const [lastBefore] = await store.edits.latest(1);
          try {
            await practice.do(each);
          } catch (error) {
            // A refusal is one of ours, in words; never what the database itself throws.
            expect(error, JSON.stringify(each)).toBeInstanceOf(SeamwiseError);
            expect(await practice.state()).toBe(before);
            refused += 1;
            continue;
          }
          const [last] = await store.edits.latest(1);
          if (last?.groupId === lastBefore?.groupId) {
            // Nothing was changed by a person.
            if (each.kind !== 'shot') expect(await practice.state()).toBe(before);
          } else expect(last).toMatchObject({ atS: clock.nowS, byRole: 'coach', byName: 'Coach A', isUndone: false });
        }
        expect(refused).toBeLessThanOrEqual(steps.length);
        if (store.engine === 'sqlite') expect(await store.pragma('foreign_key_check')).toBeUndefined();
        await store.close();
      }),
      { numRuns: runs(60) },
    );
  });

  it('an undo brings back exactly what was, and undoing it what was then', async () => {
    await fc.assert(
      fc.asyncProperty(fc.array(step, { minLength: 3, maxLength: 20 }), step, async (steps, last) => {
        const practice = await Practice.begin();
        const { store, clock } = practice;
        for (const each of steps) {
          clock.nowS += 1;
          await practice.do(each).catch(() => {});
        }
        clock.nowS += 1;
        const before = await practice.state();
        const [groupBefore] = await store.edits.latest(1);
        const isDone = await practice.do(last).then(
          () => true,
          () => false,
        );
        const after = await practice.state();
        const [group] = await store.edits.latest(1);
        // A shot is nobody's change, and what somebody agreed to is brought back by no undo.
        if (
          isDone &&
          group &&
          group.groupId !== groupBefore?.groupId &&
          last.kind !== 'consent' &&
          last.kind !== 'undo'
        ) {
          await store.edits.undo(coach, group.groupId);
          expect(await practice.state()).toBe(before);
          const [undone] = await store.edits.latest(1);
          await store.edits.undo(coach, undone?.groupId ?? '');
          expect(await practice.state()).toBe(after);
        }
        await store.close();
      }),
      { numRuns: runs(80) },
    );
  });
});
