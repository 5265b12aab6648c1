import { expect, it } from 'vitest';
import { decodeWindow, niceLimit } from '../../../src/dashboard/research/signal-data.ts';

/** An answer of the service, put together by hand as its document says. */
function answer(head: object, numbers: readonly number[]): ArrayBuffer {
  const text = new TextEncoder().encode(JSON.stringify(head));
  const headBytes = Math.ceil(text.length / 4) * 4;
  const bytes = new Uint8Array(4 + headBytes + 4 * numbers.length).fill(0x20);
  const view = new DataView(bytes.buffer);
  view.setUint32(0, headBytes, true);
  bytes.set(text, 4);
  for (const [at, number] of numbers.entries()) view.setFloat32(4 + headBytes + 4 * at, number, true);
  return bytes.buffer;
}

const part = { sensorId: 'a', streamIndex: 0, sampleCount: 9, gaps: [] };
const head = { version: 1, fromS: 10, columnS: 0.5, columns: 2, groups: ['accel'] };

it('columns become two points each, and an empty one a hole', () => {
  const { parts } = decodeWindow(
    answer({ ...head, parts: [{ ...part, kind: 'columns', channels: 2, length: 2, at: 0 }] }, [
      1,
      2,
      Number.NaN,
      Number.NaN,
      -3,
      3,
      4,
      5,
    ]),
  );
  expect(parts[0]?.x).toEqual([10.125, 10.375, 10.625, 10.875]);
  expect(parts[0]?.channels).toEqual([
    [1, 2, null, null],
    [-3, 3, 4, 5],
  ]);
});

it('single samples keep their places, with a hole where some are missing, and places that rise', () => {
  const { parts } = decodeWindow(
    answer({ ...head, parts: [{ ...part, kind: 'samples', channels: 1, length: 4, at: 1 }] }, [
      99,
      0,
      1,
      Number.NaN,
      2,
      7,
      8,
      Number.NaN,
      9,
    ]),
  );
  expect(parts[0]?.x).toEqual([10, 10.5, 10.75, 11]);
  expect(parts[0]?.channels).toEqual([[7, 8, null, 9]]);
});

it('an axis ends at a round number that holds every value', () => {
  for (const value of [0.031, 0.9, 1, 1.01, 9.81, 29, 31, 74, 76, 156, 1999]) {
    const limit = niceLimit(value);
    expect(limit).toBeGreaterThanOrEqual(value);
    expect(limit).toBeLessThanOrEqual(2 * value);
  }
  expect(niceLimit(0)).toBe(1);
  expect(niceLimit(Number.POSITIVE_INFINITY)).toBe(1);
});
