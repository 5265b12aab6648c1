import { closeSync, openSync } from 'node:fs';
import path from 'node:path';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { type ImuBlock, sampleFlag } from '../../../src/foundation/imu-block.ts';
import { channelValue, PageFile, SignalPages } from '../../../src/server/research/signal-pages.ts';
import { eachSample, readWindow, type WindowRequest } from '../../../src/server/research/signal-window.ts';
import { tempFolder } from '../../helpers/temp-folder.ts';

const folder = tempFolder();
let files = 0;

/** A stream of samples at the given times, some with a gap before them; the values are drawn. */
function pagesOf(
  times: readonly number[],
  gapBefore: ReadonlySet<number>,
  value: (at: number, axis: number) => number,
) {
  const descriptor = openSync(path.join(folder, `${files++}.samples`), 'w+');
  const pages = new SignalPages(new PageFile(descriptor), true);
  for (let from = 0; from < times.length; from += 19) {
    const part = times.slice(from, from + 19);
    const block: ImuBlock = {
      length: part.length,
      timeS: Float64Array.from(part),
      accelMps2: Float64Array.from(part.flatMap((_, i) => [0, 1, 2].map((axis) => value(from + i, axis)))),
      gyroRadps: Float64Array.from(part.flatMap((_, i) => [3, 4, 5].map((axis) => value(from + i, axis)))),
      flags: Uint8Array.from(part.map((_, i) => (gapBefore.has(from + i) ? sampleFlag.gapBefore : 0))),
    };
    pages.add(block);
  }
  pages.finish();
  return { pages, close: () => closeSync(descriptor) };
}

interface Sample {
  readonly timeS: number;
  readonly values: readonly number[];
}

function samplesOf(pages: SignalPages, fromS: number, untilS: number): Sample[] {
  const samples: Sample[] = [];
  eachSample(pages, fromS, untilS, (page, at) =>
    samples.push({
      timeS: page.timeS[at] as number,
      values: [...Array(8).keys()].map((c) => channelValue(page, c, at)),
    }),
  );
  return samples;
}

const channels = [0, 1, 2, 3, 4, 5, 6, 7];

/** Least and greatest of what is drawn of a channel, and of a column of it where it is drawn in columns. */
function drawn(pages: SignalPages, request: WindowRequest) {
  const window = readWindow(pages, request);
  return {
    window,
    of(channel: number, column: number | null): readonly [number, number] {
      const numbers =
        window.kind === 'samples'
          ? [...window.values.subarray(channel * window.places.length, (channel + 1) * window.places.length)].filter(
              (_, i) => {
                const place = window.places[i] as number;
                return column === null ? place >= 0 && place < request.columns : Math.floor(place) === column;
              },
            )
          : column === null
            ? [...window.fold.extremes.subarray(2 * channel * request.columns, 2 * (channel + 1) * request.columns)]
            : [
                ...window.fold.extremes.subarray(
                  2 * (channel * request.columns + column),
                  2 * (channel * request.columns + column) + 2,
                ),
              ];
      const known = numbers.filter((number) => !Number.isNaN(number));
      return known.length === 0 ? [Number.NaN, Number.NaN] : [Math.min(...known), Math.max(...known)];
    },
  };
}

function extremes(samples: readonly Sample[], channel: number): readonly [number, number] {
  const values = samples.map(({ values }) => values[channel] as number);
  return values.length === 0 ? [Number.NaN, Number.NaN] : [Math.min(...values), Math.max(...values)];
}

/** Runs of samples at 400 Hz with gaps of any length between them. */
const stream = fc
  .array(fc.record({ count: fc.integer({ min: 1, max: 900 }), gapS: fc.double({ min: 0.004, max: 8, noNaN: true }) }), {
    minLength: 1,
    maxLength: 5,
  })
  .map((runs) => {
    const times: number[] = [];
    const gaps = new Set<number>();
    let timeS = 0;
    for (const [index, { count, gapS }] of runs.entries()) {
      if (index > 0) gaps.add(times.length);
      for (let i = 0; i < count; i++, timeS += 1 / 400) times.push(timeS);
      timeS += gapS;
    }
    return { times, gaps };
  });

describe('a stretch of samples as it is drawn', () => {
  it('never loses an extreme and never shows one that is not there, whatever the stretch', () => {
    fc.assert(
      fc.property(
        stream,
        fc.oneof(fc.integer({ min: 1, max: 6 }), fc.integer({ min: 7, max: 800 })),
        // Never so near to a sample that 32 bits cannot tell to which side of the edge it lies.
        fc.integer({ min: -300, max: 1100 }).map((from) => from / 1000 + 0.00037),
        fc.double({ min: 1e-4, max: 1.5, noNaN: true }),
        fc.integer(),
        ({ times, gaps }, columns, from, width, seed) => {
          const { pages, close } = pagesOf(
            times,
            gaps,
            (at, axis) => Math.sin(seed + at * 12.9898 + axis * 78.233) * 50,
          );
          const lastS = times.at(-1) ?? 0;
          const fromS = from * lastS;
          const columnS = (width * lastS + 0.001) / columns;
          const request = { fromS, columnS, columns, channels };
          const shown = drawn(pages, request);
          const all = samplesOf(pages, fromS, fromS + columns * columnS);
          // A bucket at the edge is drawn whole where columns are wide: what it adds lies within one bucket of the edge.
          const wide = shown.window.kind === 'columns' && shown.window.sampleCount >= 4 * 64 * columns;
          const near = wide ? samplesOf(pages, fromS - 64 / 400, fromS + columns * columnS + 64 / 400) : all;
          for (const channel of [1, 3, 7]) {
            const [low, high] = shown.of(channel, null);
            const [least, greatest] = extremes(all, channel);
            const holdsAll = all.length === 0 || (low <= least && high >= greatest);
            const isThere =
              Number.isNaN(low) || [low, high].every((end) => near.some(({ values }) => values[channel] === end));
            expect({ channel, holdsAll, isThere }).toEqual({ channel, holdsAll: true, isThere: true });
          }
          close();
        },
      ),
      { numRuns: 60 },
    );
  });

  it('has in each column exactly the extremes of its samples, and nothing in a column without one', () => {
    const gaps = new Set([2000, 9000]);
    const times = Array.from({ length: 20_000 }, (_, i) => i / 400 + (i >= 2000 ? 3 : 0) + (i >= 9000 ? 0.5 : 0));
    const { pages, close } = pagesOf(times, gaps, (at, axis) => Math.sin(at * 12.9898 + axis) * 9);
    const request = { fromS: 1.00013, columnS: 0.05, columns: 1000, channels };
    const shown = drawn(pages, request);
    expect(shown.window.kind).toBe('columns');
    let empty = 0;
    for (let column = 0; column < 1000; column++) {
      const [from, until] = [request.fromS + column * 0.05, request.fromS + (column + 1) * 0.05];
      // Just inside, since a sample on the very edge may fall to either side of it by rounding.
      const inside = samplesOf(pages, from + 1e-6, until - 1e-6);
      const [low, high] = shown.of(3, column);
      if (inside.length === 0) {
        empty += 1;
        expect(low).toBeNaN();
        expect(high).toBeNaN();
      } else expect([low, high]).toEqual(extremes(inside, 3));
    }
    // Gaps of 3 s and 0.5 s, in columns of 0.05 s.
    expect(empty).toBeGreaterThanOrEqual(68);
    close();
  });

  it('leaves every column of a gap empty where the whole is drawn from the buckets', () => {
    const gaps = new Set([40_000]);
    const times = Array.from({ length: 100_000 }, (_, i) => i / 400 + (i >= 40_000 ? 60 : 0));
    const { pages, close } = pagesOf(times, gaps, (at) => at % 7);
    const columns = 100;
    const { window, of } = drawn(pages, { fromS: 0, columnS: 310 / columns, columns, channels: [0] });
    expect(window.kind).toBe('columns');
    for (let column = 33; column < 51; column++) expect(of(0, column)[0]).toBeNaN();
    for (const column of [31, 53]) expect(of(0, column)).toEqual([0, 6]);
    close();
  });

  it('shows single samples where they are few, with a break where some are missing', () => {
    const times = [0, 0.01, 0.02, 0.05, 0.06];
    const { pages, close } = pagesOf(times, new Set([3]), (at) => at);
    const { window } = drawn(pages, { fromS: 0.009, columnS: 0.001, columns: 47, channels: [0] });
    if (window.kind !== 'samples') throw new Error('expected single samples');
    // One to the left of the edge and one to the right, so that the line reaches both.
    expect([...window.places].map((place) => Math.round(place))).toEqual([-9, 1, 11, Number.NaN, 41, 51]);
    expect([...window.values]).toEqual([0, 1, 2, Number.NaN, 3, 4]);
    expect(window.sampleCount).toBe(3);
    close();
  });

  it('gives the very samples back, over pages', () => {
    const times = Array.from({ length: 10_000 }, (_, i) => i / 400);
    const { pages, close } = pagesOf(times, new Set(), (at, axis) => at + axis / 8);
    const samples = samplesOf(pages, 10, 20);
    expect(samples).toHaveLength(4000);
    expect(samples[0]).toEqual({
      timeS: 10,
      values: [
        4000,
        4000.125,
        4000.25,
        Math.fround(Math.hypot(4000, 4000.125, 4000.25)),
        4000.375,
        4000.5,
        4000.625,
        Math.fround(Math.hypot(4000.375, 4000.5, 4000.625)),
      ],
    });
    close();
  });
});
