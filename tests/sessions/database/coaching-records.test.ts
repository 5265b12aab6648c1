import { expect, it } from 'vitest';
import { drillLibrary } from '../../../src/coaching/drills.ts';
import { onBothEngines } from './on-both-engines.ts';
import { coach, madeResult, withPlayer } from './opened-store.ts';

onBothEngines((openedStore) => {
  const { name: _name, ...drill } = drillLibrary[0]!;

  async function filled() {
    const { store, clock } = await openedStore();
    const { playerId, sessionId } = await withPlayer(store);
    const setId = await store.sessions.startSet(coach, sessionId, { player_id: playerId });
    await store.coaching.setTarget(coach, playerId, 'axisTiltDeg', { target: 0, low: -4, high: 4 });
    await store.coaching.setBestSets(coach, playerId, [setId]);
    await store.coaching.setLoad(coach, playerId, '2026-11-20', { shots: 40, minutes: 30 });
    const drillId = await store.coaching.addDrill(coach, { ...drill, title: 'Player 07 alone' });
    const prescriptionId = await store.prescriptions.add(coach, {
      ...{ playerId, fault: 'side-flick', drill: drillLibrary[0]!, measure: 'axisTiltDeg', faultSide: 1 as const },
      ...{ smallestChange: 5, namedS: clock.nowS, retentionDueS: null, notes: 'for Player 07' },
    });
    const studyId = await store.studies.add(
      coach,
      { name: 'hop or step', factor: 'footwork', blinded: true, seed: 'abc' },
      {
        ...{ levels: ['hop', 'one-two'], labels: ['B', 'A'], playerIds: [playerId], shotsASet: 10 },
        ...{
          order: [
            [0, 1],
            [1, 0],
          ],
          margins: { makes: 0.05 },
          measures: [],
        },
      },
    );
    return { store, clock, playerId, sessionId, setId, drillId, prescriptionId, studyId };
  }

  it('a band by hand is set, changed, undone and taken away, and refused where it cannot be', async () => {
    const { store, playerId } = await filled();
    await store.coaching.setTarget(coach, playerId, 'axisTiltDeg', { target: 1, low: -3, high: null });
    expect(await store.coaching.targets(playerId)).toMatchObject([{ target: 1, low: -3, high: null }]);
    const [latest] = await store.edits.latest(1);
    await store.edits.undo(coach, latest!.groupId);
    expect(await store.coaching.targets(playerId)).toMatchObject([{ target: 0, low: -4, high: 4 }]);
    const wrong = { target: 9, low: 0, high: 4 };
    await expect(store.coaching.setTarget(coach, playerId, 'pauseS', wrong)).rejects.toThrow('rising order');
    const none = { target: 1, low: null, high: null };
    await expect(store.coaching.setTarget(coach, playerId, 'pauseS', none)).rejects.toThrow('low, high or both');
    await store.coaching.setTarget(coach, playerId, 'axisTiltDeg', null);
    expect(await store.coaching.targets(playerId)).toEqual([]);
    await store.close();
  });

  it('best sets are those that were told last, and load is told once a day', async () => {
    const { store, playerId, sessionId, setId } = await filled();
    const other = await store.sessions.startSet(coach, sessionId, { player_id: playerId });
    await store.coaching.setBestSets(coach, playerId, [other, other]);
    expect(await store.coaching.bestSets(playerId)).toEqual([other]);
    await expect(store.coaching.setBestSets(coach, playerId, [setId, 'none'])).rejects.toThrow('no set');
    await store.coaching.setLoad(coach, playerId, '2026-11-20', { shots: 60, minutes: 45 });
    expect(await store.coaching.loadEntries(playerId)).toMatchObject([{ date: '2026-11-20', shots: 60, minutes: 45 }]);
    for (const date of ['2026-02-30', '20.11.2026', '']) {
      await expect(store.coaching.setLoad(coach, playerId, date, { shots: 1, minutes: 1 })).rejects.toThrow(
        'a day such as',
      );
    }
    await store.coaching.setLoad(coach, playerId, '2026-11-20', null);
    expect(await store.coaching.loadEntries(playerId)).toEqual([]);
    await store.close();
  });

  it('a block is a set of the player, ends the one before, and goes with one undo', async () => {
    const { store, clock, sessionId, playerId, prescriptionId } = await filled();
    const words = { role: 'baseline', spot: 'left', distanceM: 4.6 };
    await store.prescriptions.startBlock(coach, prescriptionId, sessionId, words);
    clock.nowS += 60;
    const drillBlock = await store.prescriptions.startBlock(coach, prescriptionId, sessionId, {
      ...words,
      role: 'drill',
    });
    const blocks = await store.prescriptions.blocks(prescriptionId);
    expect(blocks.map(({ role, set }) => [role, set.player_id, set.kind, set.ended_s])).toEqual([
      ['baseline', playerId, 'test', clock.nowS],
      ['drill', playerId, 'drill', null],
    ]);
    clock.nowS += 60;
    expect(await store.prescriptions.endBlock(coach, drillBlock, true)).toBe(prescriptionId);
    await store.edits.undo(coach, (await store.edits.latest(1))[0]!.groupId);
    await store.edits.undo(coach, (await store.edits.latest(3))[2]!.groupId);
    expect((await store.prescriptions.blocks(prescriptionId)).map(({ role }) => role)).toEqual(['baseline']);
    await store.prescriptions.change(coach, prescriptionId, { ended: true });
    await expect(store.prescriptions.startBlock(coach, prescriptionId, sessionId, words)).rejects.toThrow('closed');
    await store.close();
  });

  it('sets of a study come in the order that was drawn, under labels while it is blinded', async () => {
    const { store, sessionId, playerId, studyId } = await filled();
    const start = (row: number) =>
      store.studies.startSet(coach, studyId, sessionId, { row, spot: '', distanceM: null });
    await start(0);
    await start(0);
    await start(1);
    const sets = await store.studies.sets(studyId);
    expect(sets.map(({ row_index, place, set }) => [row_index, place, set.player_id])).toEqual([
      [0, 0, playerId],
      [0, 1, playerId],
      [1, 0, playerId],
    ]);
    const levels = (await store.sessions.sets(sessionId)).flatMap(({ factors }) => factors.map(({ level }) => level));
    expect(levels).toEqual(['B', 'A', 'A']);
    await expect(start(0)).rejects.toThrow('all its 2 sets');
    await expect(start(7)).rejects.toThrow('row of the plan');
    await store.studies.close(coach, studyId);
    await expect(start(1)).rejects.toThrow('closed');
    await store.close();
  });

  it('without consent to being recorded nothing is prescribed, shot as a block or planned as a study', async () => {
    const { store, playerId, sessionId, prescriptionId, studyId } = await filled();
    await store.players.withdrawConsent(coach, playerId, 'record');
    const words = { role: 'baseline', spot: '', distanceM: null };
    await expect(store.prescriptions.startBlock(coach, prescriptionId, sessionId, words)).rejects.toThrow('not agreed');
    const row = { row: 0, spot: '', distanceM: null };
    await expect(store.studies.startSet(coach, studyId, sessionId, row)).rejects.toThrow('not agreed');
    await store.close();
  });

  it('everything of a player is erased, and nothing of another', async () => {
    const { store, playerId, sessionId, prescriptionId, studyId, drillId } = await filled();
    const other = await store.players.add(coach, { pseudonym: 'Player 12' });
    await store.players.giveConsent(coach, other, 'record', 'parent');
    await store.coaching.setTarget(coach, other, 'pauseS', { target: null, low: null, high: 0.2 });
    const blockWords = { role: 'baseline', spot: '', distanceM: null };
    await store.prescriptions.startBlock(coach, prescriptionId, sessionId, blockWords);
    await store.studies.startSet(coach, studyId, sessionId, { row: 0, spot: '', distanceM: null });
    await store.shots.add(
      { sessionId, setId: null, playerId, sensorId: null, streamIndex: 0, atS: 1_764_000_010 },
      madeResult(0),
    );
    await store.erasePlayer(playerId);
    expect(await store.coaching.targets(playerId)).toEqual([]);
    expect(await store.coaching.bestSets(playerId)).toEqual([]);
    expect(await store.coaching.loadEntries(playerId)).toEqual([]);
    expect(await store.prescriptions.of(playerId)).toEqual([]);
    await expect(store.prescriptions.get(prescriptionId)).rejects.toThrow('no prescription');
    expect(await store.studies.sets(studyId)).toEqual([]);
    expect(JSON.stringify(await store.studies.get(studyId))).not.toContain(playerId);
    expect((await store.coaching.drills()).find(({ id }) => id === drillId)?.drill.title).toBe('(deleted) alone');
    expect(JSON.stringify(await store.edits.latest(100))).not.toContain('Player 07');
    expect(await store.coaching.targets(other)).toHaveLength(1);
    await store.close();
  });
});
