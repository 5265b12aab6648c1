import { describe, expect, it } from 'vitest';
import { sameClock } from '../../../src/shots/merge/host-line.ts';
import { type MergedEvent, ShotMerger, type ShotMergerState } from '../../../src/shots/merge/shot-merger.ts';
import type { RejectedFlight, Shot, ShotEvent } from '../../../src/shots/shot.ts';
import { madeShot } from './made-heard.ts';

const shotEvent = (shot: Shot): ShotEvent => ({ kind: 'shot', shot });
const rejection = (startS: number, kind: RejectedFlight['kind']): ShotEvent => ({
  kind: 'rejected',
  rejected: { startS, endS: startS + 0.6, kind, reason: 'it was caught at the height of a chest' },
});
const told = (events: readonly MergedEvent[]) =>
  events.map((event) =>
    event.kind === 'shot'
      ? `${event.shot.ball ? 'ball' : ''}${event.shot.wrist ? 'wrist' : ''} ${event.shot.releaseS}`
      : `${event.place} ${event.rejected.kind}`,
  );

describe('two streams of one player', () => {
  it('gives one record of a shot, whichever sensor comes first', () => {
    for (const order of ['ball', 'wrist'] as const) {
      const other = order === 'ball' ? 'wrist' : 'ball';
      const merger = new ShotMerger();
      expect(merger.push(order, 'a', shotEvent(madeShot(10)), sameClock, 11.5)).toEqual([]);
      const [event, ...more] = merger.push(other, 'b', shotEvent(madeShot(10.01)), sameClock, 12.1);
      expect(more).toEqual([]);
      expect(event).toMatchObject({ kind: 'shot', shot: { timesOf: 'ball' } });
      expect(merger.finish()).toEqual([]);
    }
  });

  it('tells a shot of one sensor alone once the other had its time', () => {
    const merger = new ShotMerger();
    merger.push('ball', 'a', shotEvent(madeShot(10)), sameClock, 11.5);
    expect(told(merger.advance(17))).toEqual([]);
    expect(told(merger.advance(17.6))).toEqual(['ball 10']);
    expect(merger.advance(30)).toEqual([]);
  });

  it('keeps early estimates out', () => {
    const merger = new ShotMerger();
    merger.push('ball', 'a', shotEvent({ ...madeShot(10), stage: 'early' }), sameClock, 10.3);
    expect(merger.finish()).toEqual([]);
  });

  it.each(['ball first', 'wrist first'])('does not believe the arm where the ball flew no shot (%s)', (order) => {
    const merger = new ShotMerger();
    const pass = () => merger.push('ball', 'a', rejection(10, 'pass'), sameClock, 11);
    const arm = () => merger.push('wrist', 'b', shotEvent(madeShot(10.03)), sameClock, 12);
    const events = order === 'ball first' ? [...pass(), ...arm()] : [...arm(), ...pass()];
    expect(told(events)).toEqual(['ball pass', 'wrist pass']);
    const [, overruled] = events;
    expect(overruled?.kind === 'rejected' && overruled.rejected.reason).toContain('caught at the height of a chest');
    expect(merger.finish()).toEqual([]);
  });

  it('does not let a dribble or an undecided flight take a shot away', () => {
    for (const kind of ['dribble', 'undecided', 'not-flight'] as const) {
      const merger = new ShotMerger();
      merger.push('wrist', 'b', shotEvent(madeShot(10.03)), sameClock, 12);
      merger.push('ball', 'a', rejection(10, kind), sameClock, 12.1);
      expect(told(merger.finish())).toEqual(['wrist 10.03']);
    }
  });

  it('passes shots without a known clock on as they are', () => {
    const merger = new ShotMerger();
    expect(told(merger.push('wrist', 'b', shotEvent(madeShot(10)), null, 12))).toEqual(['wrist 10']);
    expect(merger.finish()).toEqual([]);
  });

  it('goes on from its state as JSON', () => {
    const first = new ShotMerger();
    first.push('ball', 'a', shotEvent(madeShot(10)), sameClock, 11.5);
    first.push('ball', 'a', rejection(14, 'pass'), sameClock, 15);
    const state = JSON.parse(JSON.stringify(first.state())) as ShotMergerState;
    const second = new ShotMerger({}, state);
    expect(told(second.push('wrist', 'b', shotEvent(madeShot(10.01)), sameClock, 12))).toEqual(['ballwrist 10']);
    expect(told(second.push('wrist', 'b', shotEvent(madeShot(14)), sameClock, 16))).toEqual(['wrist pass']);
  });

  it('keeps two shots in a row apart', () => {
    const merger = new ShotMerger();
    merger.push('ball', 'a', shotEvent(madeShot(10)), sameClock, 11.5);
    merger.push('ball', 'a', shotEvent(madeShot(12)), sameClock, 13.5);
    const events = [
      ...merger.push('wrist', 'b', shotEvent(madeShot(12.02)), sameClock, 14),
      ...merger.push('wrist', 'b', shotEvent(madeShot(9.99)), sameClock, 14.1),
    ];
    expect(told(events)).toEqual(['ballwrist 12', 'ballwrist 10']);
  });
});
