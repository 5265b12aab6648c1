import { describe, expect, it } from 'vitest';
import { atOnce, type RestingWork, WorkUnderWay } from '../../src/foundation/resting-work.ts';

function* counting(done: number[], breaksAt = Number.POSITIVE_INFINITY): RestingWork<number> {
  for (let i = 0; i < 4; i++) {
    if (i === breaksAt) throw new Error(`piece ${i} broke`);
    done.push(i);
    yield;
  }
  return 42;
}

describe('work that may rest', () => {
  it('gives its result at once', () => {
    expect(atOnce(counting([]))).toBe(42);
  });

  it('is done piece by piece, and what is left when its result is asked for', () => {
    const done: number[] = [];
    const work = new WorkUnderWay(counting(done));
    expect(done).toEqual([]);
    work.advance();
    work.advance();
    expect(done).toEqual([0, 1]);
    expect(work.done).toBe(false);
    expect(work.result()).toBe(42);
    expect(done).toEqual([0, 1, 2, 3]);
    expect(work.done).toBe(true);
    work.advance();
    expect(work.result()).toBe(42);
  });

  it('tells what went wrong when the result is asked for, each time', () => {
    const work = new WorkUnderWay(counting([], 1));
    for (let i = 0; i < 5; i++) work.advance();
    expect(work.done).toBe(true);
    expect(() => work.result()).toThrow('piece 1 broke');
    expect(() => work.result()).toThrow('piece 1 broke');
  });
});
