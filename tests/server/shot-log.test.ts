import { describe, expect, test } from 'vitest';
import { ShotLog } from '../../src/server/shot-log.ts';
import type { RejectedDocument } from '../../src/server/wire/live-document.ts';
import { shotDocument } from './made-shots.ts';

function addShot(log: ShotLog, index: number, stage: 'early' | 'final' = 'final'): number {
  return log.add(shotDocument(log.takeNumber(), stage, index)).seq;
}

function rest(log: ShotLog, since: number): number[] {
  const seqs: number[] = [];
  for (let entry = log.nextAfter(since); entry; entry = log.nextAfter(entry.seq)) seqs.push(entry.seq);
  return seqs;
}

describe('ShotLog', () => {
  test('numbers rise by one from 1', () => {
    const log = new ShotLog();
    expect(log.lastSeq).toBe(0);
    expect([addShot(log, 0), addShot(log, 1), addShot(log, 2)]).toEqual([1, 2, 3]);
    expect(log.lastSeq).toBe(3);
    expect(rest(log, 0)).toEqual([1, 2, 3]);
    expect(rest(log, 2)).toEqual([3]);
    expect(rest(log, 3)).toEqual([]);
  });

  test('a final shot takes the place of its early one, for those who have not read that yet', () => {
    const log = new ShotLog();
    addShot(log, 0, 'early');
    addShot(log, 1, 'early');
    expect(rest(log, 0)).toEqual([1, 2]);
    addShot(log, 0, 'final');
    expect(rest(log, 0)).toEqual([2, 3]);
    expect(log.latestShots(10).map((entry) => entry.seq)).toEqual([2, 3]);
  });

  test('a rejection takes an early shot back', () => {
    const log = new ShotLog();
    addShot(log, 0, 'early');
    const { shotId } = shotDocument(1, 'early', 0);
    const taken: RejectedDocument = {
      v: 1,
      seq: log.takeNumber(),
      kind: 'rejected',
      sensorId: 'ball-a',
      at: '2026-01-02T03:04:05.678Z',
      hostTimeS: 1,
      simulated: true,
      shotId,
      rejected: { startS: 9, endS: 11, kind: 'pass', reason: 'it ended low' },
    };
    log.add(taken);
    expect(log.latestShots(10)).toEqual([]);
    expect(rest(log, 0)).toEqual([2]);
  });

  test('a change takes the place of an earlier one of its topic and session', () => {
    const log = new ShotLog();
    const change = (topic: 'set' | 'shot', sessionId: string | null) =>
      log.add({ v: 1, seq: log.takeNumber(), kind: 'change', at: '2026-01-02T03:04:05.678Z', topic, sessionId });
    change('set', 's1');
    change('set', 's2');
    change('shot', 's1');
    change('set', 's1');
    expect(rest(log, 0)).toEqual([2, 3, 4]);
  });

  test('what says nothing any more goes first, and nobody misses it', () => {
    const log = new ShotLog([], 3);
    addShot(log, 0);
    for (let time = 0; time < 9; time++) addShot(log, 1);
    expect(rest(log, 0)).toEqual([1, 10]);
    expect(log.droppedSeq).toBe(0);
  });

  test('holds no more than it may and knows what it dropped', () => {
    const log = new ShotLog([], 3);
    for (let index = 0; index < 5; index++) addShot(log, index);
    expect(rest(log, 0)).toEqual([3, 4, 5]);
    expect(log.droppedSeq).toBe(2);
  });

  test('goes on above the numbers of earlier runs, with room for numbers lost with the power', () => {
    const log = new ShotLog([shotDocument(7), shotDocument(9)]);
    expect(log.lastSeq).toBe(9);
    expect(log.droppedSeq).toBe(6);
    const next = addShot(log, 100);
    expect(next).toBeGreaterThan(9 + 100);
    expect(rest(log, 9)).toEqual([next]);
  });

  test('an early shot of an earlier run stays as it was', () => {
    const log = new ShotLog([shotDocument(1, 'early', 4)]);
    expect(log.latestShots(10).map((entry) => entry.seq)).toEqual([1]);
  });

  test('gives the last shots oldest first', () => {
    const log = new ShotLog();
    for (let index = 0; index < 5; index++) addShot(log, index);
    expect(log.latestShots(2).map((entry) => entry.seq)).toEqual([4, 5]);
    expect(log.latestShots(0)).toEqual([]);
  });
});
