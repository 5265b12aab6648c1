import { expect, it } from 'vitest';
import type { ImportedSession } from '../../../src/sessions/database/import-session.ts';
import { madeShot } from '../../server/made-shots.ts';
import { onBothEngines } from './on-both-engines.ts';
import { coach } from './opened-store.ts';

const sensor = { id: 'cd'.repeat(16), placement: 'ball', description: '00ff' };
/** Days before, so that the shots lie in other months too. */
const startedS = 1_700_000_000;

const imported: ImportedSession = {
  ...{ name: 'elsewhere', startedS, endedS: startedS + 9e6, timeZone: 'UTC', simulated: false, recording: 'a.mcap' },
  ...{ settings: { ballSize: 6 }, analysisVersion: '7', parameters: { list: [1, null] }, sensors: [sensor] },
  shots: [0, 1, 2, 3].map((index) => ({
    ...{ sensorId: sensor.id, playerId: null, streamIndex: 0, atS: startedS + index * 2_000_000 },
    shot: madeShot(index),
  })),
  marks: [
    {
      ...{ at_s: startedS + 5, uncertainty_s: 0.004, clock: 'sensor', origin: 'taps', name: 'three taps' },
      ...{ sensor_id: sensor.id, stream_index: 0, sensor_time_s: 4.5 },
    },
  ],
};

onBothEngines((openedStore) => {
  it('a session that was recorded elsewhere is stored with all that was found in it, and again as another one', async () => {
    const { store } = await openedStore();
    const id = await store.importSession(coach, imported);
    expect(await store.sessions.get(id)).toMatchObject({
      name: 'elsewhere',
      analysed_version: '7',
      recording: 'a.mcap',
    });
    const shots = await store.shots.list({ sessionId: id });
    expect(shots.map(({ result }) => result.shot)).toEqual(imported.shots.map(({ shot }) => shot));
    expect(shots.map(({ at_s }) => at_s)).toEqual(imported.shots.map(({ atS }) => atS));
    expect(await store.marks.list(id)).toMatchObject([...imported.marks]);
    expect(await store.players.sensors()).toMatchObject([sensor]);
    await store.importSession(coach, imported);
    expect(await store.players.sensors()).toHaveLength(1);
    expect(await store.sessions.list()).toHaveLength(2);
    await store.close();
  });

  it('of a session that cannot be stored nothing is', async () => {
    const { store } = await openedStore();
    const bad = { ...imported, shots: imported.shots.map((shot) => ({ ...shot, playerId: 'nobody' })) };
    await expect(store.importSession(coach, bad)).rejects.toThrow(/foreign key/i);
    await expect(store.importSession(coach, { ...imported, timeZone: '' })).rejects.toMatchObject({
      code: 'store-value',
    });
    expect(await store.sessions.list()).toEqual([]);
    expect(await store.players.sensors()).toEqual([]);
    expect(await store.edits.latest()).toEqual([]);
    await store.close();
  });
});
