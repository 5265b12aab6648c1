import type { RandomSource } from './random-source.ts';

/**
 * Uniform numbers that follow from a text alone, so that whoever has the text draws the same order again: xoshiro128** (Blackman and Vigna 2021, ACM Trans. Math. Softw.
 * 47:36), the state from the text by FNV-1a and the finisher of MurmurHash3; from memory, held by a test to fixed draws.
 */
export function seededSource(seed: string): RandomSource {
  const state = new Uint32Array(4);
  for (let i = 0; i < 4; i++) state[i] = finish(hashOf(`${i}/${seed}`)) || 1;
  const next = (): number => {
    const [s0, s1, s2, s3] = state as unknown as readonly [number, number, number, number];
    const result = Math.imul(rotate(Math.imul(s1, 5), 7), 9) >>> 0;
    const shifted = s1 << 9;
    const [a, b] = [s2 ^ s0, s3 ^ s1];
    state[1] = s1 ^ a;
    state[0] = s0 ^ b;
    state[2] = a ^ shifted;
    state[3] = rotate(b, 11);
    return result;
  };
  return { unit: () => ((next() >>> 5) * 67_108_864 + (next() >>> 6)) / 9_007_199_254_740_992 };
}

function rotate(value: number, by: number): number {
  return ((value << by) | (value >>> (32 - by))) >>> 0;
}

function hashOf(text: string): number {
  let hash = 0x811c9dc5;
  for (const letter of text) hash = Math.imul(hash ^ (letter.codePointAt(0) ?? 0), 0x01000193);
  return hash;
}

function finish(value: number): number {
  let h = Math.imul(value ^ (value >>> 16), 0x85ebca6b);
  h = Math.imul(h ^ (h >>> 13), 0xc2b2ae35);
  return (h ^ (h >>> 16)) >>> 0;
}
