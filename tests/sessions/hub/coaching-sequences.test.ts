import { expect, it } from 'vitest';
import { drillLibrary } from '../../../src/coaching/drills.ts';
import type { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { Random } from '../../../src/simulate/random.ts';
import { coach, handOver, memoryStore, rowsOf, type SharedClock, tellBack } from './court-and-hub.ts';

const changes = 60;
/** Told to every court; the rest stays on the court of its sets. */
const everywhere = /^(player_target|own_drill|prescription|load_entry|study) /;
const ofOneCourt = /^(best_set|proof_block|study_set|rotation|rotation_player) /;

/** Two courts and a hub on which people change the same things at random, while now and then something of it is handed over. */
async function sequence(seed: number): Promise<void> {
  const random = new Random(`coaching ${seed}`);
  const pick = <Item>(items: readonly Item[]): Item => items[Math.floor(random.between(0, items.length))] as Item;
  const clock: SharedClock = { nowS: 1_764_000_000 };
  const [north, south, hub] = [await memoryStore(clock), await memoryStore(clock), await memoryStore(clock)];
  const courts = [
    ['north', north],
    ['south', south],
  ] as const;
  const sessions = new Map<ClubStore, string>();
  const words = { name: '', timeZone: 'UTC', simulated: false, recording: null, settings: {} };
  for (const [, store] of courts) sessions.set(store, await store.sessions.start(coach, words));
  const players: string[] = [];
  for (const pseudonym of ['Player 07', 'Player 12']) {
    const id = await north.players.add(coach, { pseudonym });
    for (const scope of ['record', 'upload'] as const) await north.players.giveConsent(coach, id, scope, 'player');
    players.push(id);
  }
  const sync = async () => {
    for (const [name, store] of courts) {
      await handOver(store, hub, name);
      await tellBack(hub, store);
    }
  };
  await sync();

  const place = { spot: '', distanceM: null };
  const change = async (store: ClubStore): Promise<void> => {
    const playerId = pick(players);
    const session = sessions.get(store);
    const low = random.between(0, 1);
    const [kind] = [Math.floor(random.between(0, 11))];
    if (kind < 3) {
      const measure = pick(['dipDepthM', 'pauseS']);
      await store.coaching.setTarget(coach, playerId, measure, low < 0.3 ? null : { target: null, low, high: null });
    } else if (kind === 3) {
      const load = low < 0.3 ? null : { shots: Math.floor(100 * low), minutes: 10 };
      await store.coaching.setLoad(coach, playerId, pick(['2026-11-20', '2026-11-21']), load);
    } else if (kind === 4) {
      const [drill] = await store.coaching.drills();
      if (!drill || low < 0.3) await store.coaching.addDrill(coach, { ...drillLibrary[0]!, title: `drill ${low}` });
      else await store.coaching.changeDrill(coach, drill.id, { retired: low < 0.7 });
    } else if (kind === 5) {
      const known = await store.prescriptions.of(playerId);
      if (known.length > 0 && low < 0.7) {
        const ended = low < 0.4 ? { ended: low < 0.2 } : {};
        await store.prescriptions.change(coach, pick(known).id, { ...ended, notes: `notes ${low}` });
      } else {
        await store.prescriptions.add(coach, {
          ...{ playerId, fault: 'late-dip', drill: drillLibrary[0]!, measure: 'dipDepthM', faultSide: 1 },
          ...{ smallestChange: 0.02, namedS: clock.nowS, retentionDueS: null, notes: '' },
        });
      }
    } else if (kind === 6 && session !== undefined) {
      const known = await store.prescriptions.of(playerId);
      if (known.length > 0)
        await store.prescriptions.startBlock(coach, pick(known).id, session, { role: 'baseline', ...place });
    } else if (kind === 7) {
      const studies = await store.studies.list();
      const open = studies.find(({ closed_s }) => closed_s === null);
      if (open && session !== undefined) {
        await store.studies.startSet(coach, open.id, session, { row: Math.floor(2 * low), ...place });
      } else if (studies.length < 3) {
        const design = { levels: ['hop', 'step'], labels: [], playerIds: players, shotsASet: 5, margins: {} };
        const plan = { name: `study ${low}`, factor: 'footwork', blinded: false, seed: 's' };
        await store.studies.add(coach, plan, {
          ...design,
          order: [
            [0, 1, 0, 1],
            [1, 0, 1, 0],
          ],
          measures: [],
        });
      }
    } else if (kind === 8 && session !== undefined) {
      await store.rotations.start(coach, session, { playerIds: low < 0.5 ? players : [playerId], shotsEach: 2 });
    } else if (kind === 9 && session !== undefined) {
      const sets = (await store.sessions.sets(session)).map(({ id }) => id);
      if (sets.length > 0) await store.coaching.setBestSets(coach, playerId, low < 0.3 ? [] : [pick(sets), pick(sets)]);
      else await store.sessions.startSet(coach, session, { player_id: playerId });
    } else if (kind === 10) {
      const meant = (await store.edits.latest(3)).filter(({ action }) => !/player|consent|session/.test(action));
      if (meant.length > 0) await store.edits.undo(coach, pick(meant).groupId);
    }
  };

  for (let index = 0; index < changes; index++) {
    // Several changes of one instant are told apart by their ids.
    clock.nowS += Math.floor(random.between(0, 3));
    await change(pick([north, south, hub])).catch((error: { code?: string }) => {
      if (error.code === undefined) throw error;
    });
    const drawn = random.between(0, 1);
    if (drawn < 0.1) await sync();
    else if (drawn < 0.25) await handOver(north, hub, 'north');
    else if (drawn < 0.4) await tellBack(hub, south);
  }
  for (let round = 0; round < 3; round++) await sync();
  const [ofNorth, ofSouth, ofHub] = [await rowsOf(north), await rowsOf(south), await rowsOf(hub)];
  const only = (rows: ReadonlyMap<string, unknown>, kind: RegExp) =>
    new Map([...rows].filter(([name]) => kind.test(name)).sort(([one], [other]) => (one < other ? -1 : 1)));
  expect(only(ofNorth, everywhere), `seed ${seed}`).toEqual(only(ofHub, everywhere));
  expect(only(ofSouth, everywhere), `seed ${seed}`).toEqual(only(ofHub, everywhere));
  const ofCourts = new Map([...only(ofNorth, ofOneCourt), ...only(ofSouth, ofOneCourt)]);
  expect(only(ofCourts, ofOneCourt), `seed ${seed}`).toEqual(only(ofHub, ofOneCourt));
  for (const store of [north, south, hub]) await store.close();
}

const seeds = 6;

it('stands the same on hub and courts after whatever people did where, in whatever order it came', async () => {
  for (let seed = 1; seed <= seeds; seed++) await sequence(seed);
}, 120_000);
