import { silentLogger } from '../../src/foundation/logger.ts';
import { measured } from '../../src/foundation/measured.ts';
import { LiveWatch } from '../../src/server/coaching/live-watch.ts';
import { ClubStore } from '../../src/sessions/database/club-store.ts';
import { Random } from '../../src/simulate/random.ts';
import { madeShot } from '../server/made-shots.ts';
import type { BenchRow } from './bench.ts';

/**
 * The live watch for faults over a real database: each shot as the service takes it, 200 shots of one practice. Goal: 5 ms a shot.
 * Baseline: storing the same shots. Seed `bench coaching`.
 */
export async function rows(): Promise<readonly BenchRow[]> {
  const shots = 200;
  const practice = async (watched: boolean): Promise<number> => {
    const random = new Random('bench coaching');
    const store = await ClubStore.open({ file: ':memory:', nowS: () => 1_764_000_000 });
    const actor = { role: 'coach', name: 'Coach A' } as const;
    const playerId = await store.players.add(actor, { pseudonym: 'Player 01' });
    const words = { name: '', timeZone: 'UTC', simulated: true, recording: null, settings: {} };
    const sessionId = await store.sessions.start(actor, words);
    let changes = 0;
    const watch = new LiveWatch({ store, logger: silentLogger, onChange: () => changes++ });
    for (let index = 0; index < shots; index++) {
      const made = madeShot(index);
      const measures = { ...made.measures, axisTiltDeg: measured(3 + random.normal(0, 2), 0.5) };
      const place = {
        sessionId,
        setId: null,
        playerId,
        sensorId: null,
        streamIndex: 0,
        atS: 1_764_000_000 + 10 * index,
      };
      await store.shots.add(place, { shot: { ...made, measures }, analysisVersion: '1', parameters: {} });
      if (watched) await watch.take(playerId, sessionId);
    }
    await store.close();
    return changes;
  };
  return [
    { name: 'store 200 shots', baseline: true, amount: shots, amountOf: 'shots', run: () => practice(false) },
    {
      name: 'store 200 shots and look at each for faults',
      amount: shots,
      amountOf: 'shots',
      run: () => practice(true),
    },
  ];
}
