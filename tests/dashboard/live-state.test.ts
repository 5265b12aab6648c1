import { describe, expect, test } from 'vitest';
import {
  applyDocument,
  changeNumber,
  emptyState,
  isUnfinished,
  type LiveState,
  shownShots,
} from '../../src/dashboard/live-state.ts';
import type { HelloDocument, LiveDocument, ShotDocument } from '../../src/server/wire/live-document.ts';
import { shotDocument } from '../server/made-shots.ts';

function hello(catchUp: HelloDocument['catchUp'], change: Partial<HelloDocument> = {}): HelloDocument {
  return {
    v: 1,
    seq: 0,
    kind: 'hello',
    version: '1.2.3',
    runId: 'run',
    simulated: true,
    startedAt: '2026-01-02T03:04:05.678Z',
    sensors: [],
    catchUp,
    ...change,
  };
}

function stateAfter(documents: readonly LiveDocument[], state: LiveState = emptyState): LiveState {
  return documents.reduce(applyDocument, state);
}

const shot = (seq: number, stage: 'early' | 'final', index: number) => shotDocument(seq, stage, index) as ShotDocument;
const seqs = (state: LiveState): number[] => state.shots.map((document) => document.seq);

describe('the state of the page', () => {
  test('shows each shot once: the final numbers take the place of the early ones', () => {
    const state = stateAfter([hello('latest'), shot(1, 'final', 0), shot(2, 'early', 1)]);
    expect(seqs(state)).toEqual([2, 1]);
    expect(seqs(stateAfter([shot(3, 'final', 1)], state))).toEqual([3, 1]);
  });

  test('what comes twice or too late changes nothing', () => {
    const state = stateAfter([shot(1, 'early', 0), shot(2, 'final', 0)]);
    expect(seqs(stateAfter([shot(1, 'early', 0), shot(2, 'final', 0)], state))).toEqual([2]);
  });

  test('a shot that is told again keeps its place; one that comes late takes the place of its time', () => {
    const at = (second: number, document: ShotDocument): ShotDocument => ({
      ...document,
      at: `2026-01-02T03:04:0${second}.000Z`,
    });
    const state = stateAfter([at(1, shot(1, 'final', 0)), at(3, shot(2, 'final', 1)), at(2, shot(3, 'final', 2))]);
    expect(seqs(state)).toEqual([2, 3, 1]);
    expect(seqs(stateAfter([at(1, { ...shot(9, 'final', 0), outcome: 'make' })], state))).toEqual([2, 3, 9]);
  });

  test('changes are counted session by session, and what is of none counts for all', () => {
    const change = (seq: number, sessionId: string | null): LiveDocument => {
      return { v: 1, seq, kind: 'change', at: '2026-01-02T03:04:05.678Z', topic: 'set', sessionId };
    };
    const state = stateAfter([change(5, 's1'), change(6, 's2')]);
    expect([changeNumber(state, 's1'), changeNumber(state, 's2'), changeNumber(state, null)]).toEqual([5, 6, 6]);
    expect(changeNumber(stateAfter([change(9, null)], state), 's1')).toBe(9);
    expect(state.since).toBe(6);
  });

  test('after a service that counts otherwise its numbers hold, lower ones too', () => {
    const state = stateAfter([shot(500, 'final', 0), hello('latest'), { ...shot(7, 'final', 0), outcome: 'miss' }]);
    expect(state.shots.map(({ seq, outcome }) => [seq, outcome])).toEqual([[7, 'miss']]);
  });

  test('a rejection takes its early shot away and leaves the others', () => {
    const first = shot(1, 'early', 0);
    const state = stateAfter([first, shot(2, 'early', 1)]);
    const rejected: LiveDocument = {
      v: 1,
      seq: 3,
      kind: 'rejected',
      sensorId: 'ball-a',
      at: '2026-01-02T03:04:05.678Z',
      hostTimeS: 1,
      simulated: true,
      shotId: first.shotId,
      rejected: { startS: 1, endS: 2, kind: 'pass', reason: 'it ended low' },
    };
    expect(seqs(stateAfter([rejected], state))).toEqual([2]);
    expect(seqs(stateAfter([{ ...rejected, shotId: null }], state))).toEqual([2, 1]);
  });

  test('asks for what lies above the highest number that came, not above that of a greeting', () => {
    expect(emptyState.since).toBeNull();
    expect(stateAfter([hello('latest', { seq: 90 })]).since).toBeNull();
    expect(stateAfter([hello('latest', { seq: 90 }), shot(88, 'final', 0)]).since).toBe(88);
    expect(stateAfter([hello('complete', { seq: 95 })], stateAfter([shot(88, 'final', 0)])).since).toBe(88);
  });

  test('takes the numbers of a service that does not know the ones it has', () => {
    const state = stateAfter([hello('latest'), shot(5000, 'final', 0)]);
    expect(stateAfter([hello('latest', { seq: 3 }), shot(3, 'final', 1)], state).since).toBe(3);
  });

  test('says that shots are missing only when some are', () => {
    expect(stateAfter([hello('incomplete')]).incomplete).toBe(false);
    const state = stateAfter([hello('latest'), shot(5, 'final', 0), hello('complete')]);
    expect(state.incomplete).toBe(false);
    expect(stateAfter([hello('incomplete')], state).incomplete).toBe(true);
  });

  test('an early shot of a run that is over is unfinished', () => {
    const early = shot(1, 'early', 0);
    const state = stateAfter([hello('latest'), early]);
    expect(isUnfinished(state, early)).toBe(false);
    const restarted = stateAfter([hello('complete', { runId: 'next' })], state);
    expect(isUnfinished(restarted, early)).toBe(true);
    expect(isUnfinished(restarted, shot(2, 'final', 1))).toBe(false);
  });

  test('a rebound that looks like a shot at first does not take the place of the shot before it', () => {
    const landed = { ...shot(1, 'final', 0), hostTimeS: 100 };
    const rebound = { ...shot(2, 'early', 1), hostTimeS: 100.4 };
    const shown = (state: LiveState): number[] => shownShots(state).map((document) => document.seq);
    expect(shown(stateAfter([landed, rebound]))).toEqual([1]);
    // Another ball, a later shot, and one that turns out to be a shot after all are shown.
    expect(shown(stateAfter([landed, { ...rebound, sensorId: 'ball-b' }]))).toEqual([2, 1]);
    expect(shown(stateAfter([landed, { ...rebound, hostTimeS: 103 }]))).toEqual([2, 1]);
    expect(shown(stateAfter([landed, rebound, { ...shot(3, 'final', 1), hostTimeS: 101.5 }]))).toEqual([3, 1]);
  });

  test('knows each sensor once, as it was last', () => {
    const sensor = {
      sensorId: 'ball-a',
      state: 'connecting',
      detail: null,
      notificationCount: 0,
      lostCount: 0,
      corruptCount: 0,
      sampleRateHz: null,
    } as const;
    const state = stateAfter([
      hello('latest', { sensors: [sensor] }),
      { v: 1, seq: 0, kind: 'sensor', sensor: { ...sensor, state: 'streaming' } },
      { v: 1, seq: 0, kind: 'sensor', sensor: { ...sensor, sensorId: 'ball-b' } },
    ]);
    expect(state.sensors.map((known) => [known.sensorId, known.state])).toEqual([
      ['ball-a', 'streaming'],
      ['ball-b', 'connecting'],
    ]);
  });

  test('holds no more shots than it may', () => {
    const state = stateAfter(Array.from({ length: 300 }, (_, index) => shot(index + 1, 'final', index)));
    expect(state.shots).toHaveLength(200);
    expect(state.shots[0]?.seq).toBe(300);
  });

  test('a kind of document that a later service may send is passed over', () => {
    const state = stateAfter([shot(1, 'final', 0)]);
    const unknown = { v: 1, seq: 2, kind: 'verdict' } as unknown as LiveDocument;
    expect(applyDocument(state, unknown)).toBe(state);
  });
});
