import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { SampleRing } from '../../../../src/dashboard/research/live/sample-ring.ts';
import { greatestOf, traceSamples } from '../../../../src/dashboard/research/live/trace-painter.ts';

const rateHz = 416;
const clock = { zeroS: 1000, slope: 1 };

function ringOf(values: readonly number[], gaps: readonly number[] = [], capacity = 4096): SampleRing {
  const ring = new SampleRing(capacity, false);
  const column = Float32Array.from(values);
  ring.push({
    count: values.length,
    firstS: 0,
    offsetsS: Float32Array.from(values, (_, i) => i / rateHz),
    axes: [column, new Float32Array(values.length), new Float32Array(values.length)],
    flags: Uint8Array.from(values, (_, i) => (gaps.includes(i) ? 4 : 0)),
  });
  return ring;
}

type Point = readonly [number, number];

/** Lines as they are drawn: each begins where the pen is set down. */
function drawn(ring: SampleRing, range: readonly [number, number], pxPerS: number): Point[][] {
  const lines: Point[][] = [];
  const pen = {
    moveTo: (x: number, y: number) => lines.push([[x, y]]),
    lineTo: (x: number, y: number) => lines.at(-1)?.push([x, y]),
  };
  const place = { originS: 1000, pxPerS, zeroPx: 0, pxPerUnit: -1 };
  traceSamples(pen, ring, clock, { channel: 0, first: 0 }, range, place);
  return lines;
}

/** Least and greatest value in each column of pixels. */
function extremes(points: readonly Point[]): Map<number, readonly [number, number]> {
  const found = new Map<number, readonly [number, number]>();
  for (const [x, y] of points) {
    const [low, high] = found.get(Math.floor(x)) ?? [y, y];
    found.set(Math.floor(x), [Math.min(low, y), Math.max(high, y)]);
  }
  return found;
}

const signal = fc.array(fc.float({ min: -200, max: 200, noNaN: true }), { minLength: 1, maxLength: 600 });
const zoom = fc.constantFrom(20, 45.5, 137, 416, 1000);

describe('lines of samples', () => {
  test('reach in every column of pixels as high and as low as the samples there, whatever the zoom', () => {
    fc.assert(
      fc.property(signal, zoom, (values, pxPerS) => {
        const ring = ringOf(values);
        const points = values.map((value, i): Point => [ring.timeS(i) * pxPerS, value]);
        // Whole thousands of seconds are taken off where the picture is laid out; the column of a sample does not hang on that.
        const shown = drawn(ring, [0, values.length], pxPerS).flat();
        const wanted = extremes(points);
        const got = extremes(shown);
        for (const [column, [low, high]] of wanted) {
          const near = [column - 1, column, column + 1].flatMap((each) => got.get(each) ?? []);
          expect(Math.min(...near)).toBeLessThanOrEqual(low);
          expect(Math.max(...near)).toBeGreaterThanOrEqual(high);
        }
        const all = new Set(values.map(Math.fround));
        for (const [, y] of shown) expect(all.has(y)).toBe(true);
      }),
    );
  });

  test('take no more than four points of a column', () => {
    const ring = ringOf(Array.from({ length: 4000 }, (_, i) => Math.sin(i) * 50));
    const shown = drawn(ring, [0, 4000], 20).flat();
    const counts = new Map<number, number>();
    for (const [x] of shown) counts.set(Math.floor(x), (counts.get(Math.floor(x)) ?? 0) + 1);
    expect(Math.max(...counts.values())).toBeLessThanOrEqual(4);
  });

  test('drawn piece by piece, each from the last sample of the one before, have the same extremes', () => {
    fc.assert(
      fc.property(signal, zoom, fc.integer({ min: 1, max: 40 }), (values, pxPerS, piece) => {
        const ring = ringOf(values);
        const whole = extremes(drawn(ring, [0, values.length], pxPerS).flat());
        const pieces: Point[] = [];
        for (let from = 0; from < values.length; from += piece)
          pieces.push(...drawn(ring, [Math.max(0, from - 1), Math.min(values.length, from + piece)], pxPerS).flat());
        expect(extremes(pieces)).toEqual(whole);
      }),
    );
  });

  test('end before samples that are missing and begin anew behind them', () => {
    const lines = drawn(ringOf([1, 2, 3, 4, 5, 6], [3]), [0, 6], 416);
    expect(lines.map((line) => line.map(([, y]) => y))).toEqual([
      [1, 2, 3],
      [4, 5, 6],
    ]);
    // Within one column of pixels too.
    expect(drawn(ringOf([1, 2, 3, 4], [2]), [0, 4], 1).map((line) => line.map(([, y]) => y))).toEqual([
      [1, 2],
      [3, 4],
    ]);
  });

  test('come in time order within a column', () => {
    const [line = []] = drawn(ringOf([0, 5, -3, 1]), [0, 4], 1);
    expect(line.map(([, y]) => y)).toEqual([0, 5, -3, 1]);
    const [other = []] = drawn(ringOf([0, -5, 3, 1]), [0, 4], 1);
    expect(other.map(([, y]) => y)).toEqual([0, -5, 3, 1]);
  });
});

test('the greatest size is that of the channels shown', () => {
  const ring = new SampleRing(8, false);
  const axes = [3, -4, 12].map((value) => Float32Array.of(value));
  ring.push({ count: 1, firstS: 0, offsetsS: Float32Array.of(0), axes, flags: Uint8Array.of(0) });
  expect(greatestOf(ring, 0, [true, true, false, false], [0, 1])).toBe(4);
  expect(greatestOf(ring, 0, [true, true, true, true], [0, 1])).toBe(13);
  expect(greatestOf(ring, 0, [false, false, false, false], [0, 1])).toBe(0);
});

test('a ring keeps the last samples and finds an instant among them', () => {
  const ring = ringOf(
    Array.from({ length: 250 }, (_, i) => i),
    [],
    100,
  );
  expect([ring.start, ring.end]).toEqual([150, 250]);
  expect(ring.value(0, 0, 150)).toBe(150);
  expect(ring.value(0, 0, 249)).toBe(249);
  expect(ring.firstAt(200 / rateHz - 1e-6)).toBe(200);
  expect(ring.firstAt(-1)).toBe(150);
  expect(ring.firstAt(9)).toBe(250);
});
