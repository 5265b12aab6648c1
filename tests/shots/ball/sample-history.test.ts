import { describe, expect, it } from 'vitest';
import type { ImuBlock } from '../../../src/foundation/imu-block.ts';
import { SampleHistory } from '../../../src/shots/ball/sample-history.ts';

/** Sample i of the stream holds i in every column, a tenth of it apart for each axis. */
function counted(from: number, to: number, withGyro = true): ImuBlock {
  const length = to - from;
  const axes = (shift: number) =>
    Float64Array.from({ length: 3 * length }, (_, k) => from + Math.floor(k / 3) + (k % 3) / 10 + shift);
  return {
    length,
    timeS: Float64Array.from({ length }, (_, k) => from + k),
    accelMps2: axes(0),
    gyroRadps: withGyro ? axes(0.5) : null,
    flags: Uint8Array.from({ length }, (_, k) => (from + k) % 8),
  };
}

describe('the history of samples', () => {
  it('holds the last samples in order, however many have come', () => {
    const history = new SampleHistory(10, true);
    for (let i = 0; i < 95; i++) {
      history.push(counted(i, i + 1), 0);
      const view = history.view();
      expect(history.total).toBe(i + 1);
      expect(view.length).toBe(history.total - history.oldest);
      // Never fewer than were asked for, never more than twice as many.
      expect(view.length).toBeGreaterThanOrEqual(Math.min(i + 1, 10));
      expect(view.length).toBeLessThanOrEqual(20);
      expect(view).toEqual(counted(history.oldest, i + 1));
    }
  });

  it('takes single samples out of a longer block', () => {
    const history = new SampleHistory(4, true);
    const block = counted(0, 7);
    for (const i of [2, 5]) history.push(block, i);
    expect([...history.view().timeS]).toEqual([2, 5]);
    expect([...history.view().accelMps2]).toEqual([2, 2.1, 2.2, 5, 5.1, 5.2]);
  });

  it('shares its columns with the view', () => {
    const history = new SampleHistory(4, true);
    history.push(counted(3, 4), 0);
    expect(history.columns.timeS[0]).toBe(3);
    expect(history.columns.length).toBe(8);
  });

  it('lets nothing go while it is held, and views stay as they were', () => {
    const history = new SampleHistory(4, true);
    for (let i = 0; i < 7; i++) history.push(counted(i, i + 1), 0);
    const view = history.view();
    history.held = true;
    for (let i = 7; i < 30; i++) history.push(counted(i, i + 1), 0);
    expect(history.oldest).toBe(0);
    expect(view).toEqual(counted(0, 7));
    expect(history.view()).toEqual(counted(0, 30));
    history.held = false;
    history.push(counted(30, 31), 0);
    expect(history.view()).toEqual(counted(26, 31));
  });

  it('has no gyroscope where the stream has none', () => {
    const history = new SampleHistory(4, false);
    for (let i = 0; i < 30; i++) history.push(counted(i, i + 1, false), 0);
    expect(history.hasGyro).toBe(false);
    expect(history.view()).toEqual(counted(history.oldest, 30, false));
  });
});
