import { createHash } from 'node:crypto';
import { describe, expect, it } from 'vitest';
import { goal } from './proof.ts';
import { openSeedBook } from './seeds.ts';

describe('goal', () => {
  it('is met inside its bounds alone', () => {
    expect(goal('spin', 0.4, { atMost: 0.5 }).met).toBe(true);
    expect(goal('spin', 0.5, { atMost: 0.5 }).met).toBe(true);
    expect(goal('spin', 0.6, { atMost: 0.5 }).met).toBe(false);
    expect(goal('cover', 0.84, { atLeast: 0.85, atMost: 0.95 }).met).toBe(false);
    expect(goal('cover', 0.96, { atLeast: 0.85, atMost: 0.95 }).met).toBe(false);
  });

  it('is not met by a figure that is no number', () => {
    expect(goal('spin', Number.NaN, { atMost: 0.5 }).met).toBe(false);
  });
});

describe('a seed book', () => {
  it('gives the first four bytes of the hash of origin and label, and remembers them', () => {
    const book = openSeedBook('abc/ball');
    const hash = createHash('sha256').update('abc/ball/shots').digest('hex');
    expect(book.seed('shots')).toBe(Number.parseInt(hash.slice(0, 8), 16));
    expect(book.seed('decoys')).not.toBe(book.seed('shots'));
    expect(Object.keys(book.given)).toEqual(['shots', 'decoys']);
    expect(openSeedBook('abd/ball').seed('shots')).not.toBe(book.seed('shots'));
  });
});
