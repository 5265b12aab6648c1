import { beforeEach, describe, expect, it } from 'vitest';
import type { ClubStore } from '../../../src/sessions/database/club-store.ts';
import { isOfClock, shotClock } from '../../../src/sessions/database/time-correction-records.ts';
import type { MergedShot } from '../../../src/shots/merge/merge-shots.ts';
import type { Shot } from '../../../src/shots/shot.ts';
import { onBothEngines } from './on-both-engines.ts';
import { coach, madeResult, withPlayer } from './opened-store.ts';

onBothEngines((openedStore) => {
  let store: ClubStore;
  let sessionId = '';
  let playerId = '';
  let shotId = '';
  const analysed = madeResult(0);
  const { shot } = analysed;
  const releaseS = shot.releaseS as number;
  const words = (timeS: number) => ({ timeS, resolutionS: 0.0024 });

  async function addShot(more: { sensorId?: string; shot?: Shot } = {}): Promise<string> {
    const { sensorId = 'ball-1', shot: of = shot } = more;
    const place = { sessionId, setId: null, playerId, sensorId, streamIndex: 0, atS: 100 };
    return store.shots.add(place, { ...analysed, shot: of });
  }

  beforeEach(async () => {
    ({ store } = await openedStore());
    ({ sessionId, playerId } = await withPlayer(store));
    for (const id of ['ball-1', 'arm-1']) await store.players.seeSensor({ id, placement: 'ball', description: '' });
    shotId = await addShot();
  });

  const ofShot = async (id = shotId) => (await store.corrections.of([id])).get(id) ?? [];

  describe('a time set by hand', () => {
    it('stands beside what the analysis says, with who set it, and leaves that alone', async () => {
      await store.corrections.set(coach, shotId, 'release', words(releaseS + 0.01));
      expect(await ofShot()).toMatchObject([
        { phase: 'release', time_s: releaseS + 0.01, resolution_s: 0.0024, by_name: 'Coach A', sensor_id: 'ball-1' },
      ]);
      const [stored] = await store.shots.list({ sessionId });
      expect(stored?.result.shot).toEqual(shot);
    });

    it('is set anew in its place, and every step can be undone', async () => {
      const first = await store.corrections.set(coach, shotId, 'release', words(releaseS + 0.01));
      const second = await store.corrections.set(coach, shotId, 'release', words(releaseS + 0.02));
      const third = await store.corrections.remove(coach, shotId, 'release');
      expect(await ofShot()).toEqual([]);
      await store.edits.undo(coach, third.changeId);
      expect(await ofShot()).toMatchObject([{ time_s: releaseS + 0.02 }]);
      await expect(store.edits.undo(coach, first.changeId)).rejects.toMatchObject({ code: 'edit-superseded' });
      await store.edits.undo(coach, second.changeId);
      expect(await ofShot()).toMatchObject([{ time_s: releaseS + 0.01 }]);
      await store.edits.undo(coach, first.changeId);
      expect(await ofShot()).toEqual([]);
    });

    it.each([
      ['release', Number.NaN, 'release in s is NaN'],
      ['release', (shot.liftS ?? 0) - 0.2, 'not before the lift'],
      ['pickup', (shot.liftS ?? 0) + 0.01, 'not after the lift'],
      ['contact', (shot.contactS ?? 0) + 1e4, 'at most 60 s from the pickup'],
      ['apex', releaseS, 'expected pickup, lift, release, contact'],
    ])('%s at %s is refused', async (phase, timeS, message) => {
      const refused = store.corrections.set(coach, shotId, phase, words(timeS));
      await expect(refused).rejects.toMatchObject({ code: 'store-value', message: expect.stringContaining(message) });
      expect(await ofShot()).toEqual([]);
    });

    it('of no shot, or taken back where there is none, is refused', async () => {
      await expect(store.corrections.set(coach, 'nobody', 'release', words(1))).rejects.toMatchObject({
        code: 'store-missing',
      });
      await expect(store.corrections.remove(coach, shotId, 'lift')).rejects.toMatchObject({ code: 'store-missing' });
    });

    it('outlives another analysis, and goes over with a record that becomes part of another', async () => {
      await store.corrections.set(coach, shotId, 'release', words(releaseS + 0.01));
      const ofArm = await addShot({ sensorId: 'arm-1' });
      await store.corrections.set(coach, ofArm, 'lift', words(shot.liftS ?? 0));
      await store.corrections.set(coach, ofArm, 'release', words(releaseS + 0.02));
      await store.shots.storeReanalysis(sessionId, {
        ...{ analysisVersion: '2', parameters: {}, added: [] },
        again: [{ shotId, shot: { ...shot, releaseS: releaseS + 0.5 } }],
        absorbed: [{ shotId: ofArm, intoShotId: shotId }],
        run: { by: coach, changed: 1, notFound: 0 },
      });
      expect(await ofShot()).toMatchObject([
        { phase: 'lift', sensor_id: 'arm-1' },
        { phase: 'release', time_s: releaseS + 0.01 },
      ]);
      expect(await store.runs.list(sessionId)).toMatchObject([
        { analysis_version: '2', by_name: 'Coach A', again: 1, changed: 1, absorbed: 1, added: 0, not_found: 0 },
      ]);
    });

    it('goes with its player, out of the log too', async () => {
      await store.corrections.set(coach, shotId, 'release', words(releaseS + 0.01));
      const [correction] = await ofShot();
      await store.erasePlayer(playerId);
      expect(await ofShot()).toEqual([]);
      expect(await store.edits.historyOf(correction?.id ?? '')).toEqual([]);
    });
  });

  it('the clock of a shot of two sensors is that of the sensor that its times are of', () => {
    const pair = { ...shot, timesOf: 'ball', ball: { sensorId: 'b', index: 0 }, wrist: null } as unknown as MergedShot;
    expect(shotClock('w', 1, pair)).toEqual({ sensorId: 'b', streamIndex: 1 });
    expect(shotClock('w', 1, shot)).toEqual({ sensorId: 'w', streamIndex: 1 });
    const row = { sensor_id: 'b', stream_index: 1 } as Parameters<typeof isOfClock>[0];
    expect(isOfClock(row, { sensorId: 'b', streamIndex: 1 })).toBe(true);
    expect(isOfClock(row, { sensorId: 'b', streamIndex: 0 })).toBe(false);
  });

  it('marks are renamed and removed, and both can be undone', async () => {
    const mark = await store.marks.add(coach, sessionId, { atS: 5, uncertaintyS: 0.1, origin: 'hand' });
    await store.marks.rename(coach, mark.id, 'clap');
    expect(await store.marks.list(sessionId)).toMatchObject([{ name: 'clap', origin: 'hand' }]);
    await store.marks.remove(coach, mark.id);
    expect(await store.marks.list(sessionId)).toEqual([]);
    const [last] = await store.edits.latest(1);
    await store.edits.undo(coach, last?.groupId ?? '');
    expect(await store.marks.list(sessionId)).toMatchObject([{ name: 'clap' }]);
    await expect(store.marks.rename(coach, 'none', 'x')).rejects.toMatchObject({ code: 'store-missing' });
  });
});
