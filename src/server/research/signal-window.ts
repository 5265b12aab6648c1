import { type ColumnFold, emptyColumns, foldExtremes } from './column-fold.ts';
import { bucketSamples, channelValue, type SignalPages } from './signal-pages.ts';

/** A stretch of one stream, as it is drawn: single samples where they are few, else the extremes of each column. */
export type StreamWindow =
  | { readonly kind: 'columns'; readonly fold: ColumnFold; readonly sampleCount: number }
  | {
      readonly kind: 'samples';
      /** In columns from the left edge; NaN with all values between two samples where others are missing between them. */
      readonly places: Float32Array;
      /** One channel after the other. */
      readonly values: Float32Array;
      readonly sampleCount: number;
    };

export interface WindowRequest {
  /** Of the stream's own time: left edge of the drawing, and the width of a column. */
  readonly fromS: number;
  readonly columnS: number;
  readonly columns: number;
  readonly channels: readonly number[];
}

/** @returns what a drawing of a stretch shows: every extreme of every channel, and nothing where there are no samples. */
export function readWindow(pages: SignalPages, { fromS, columnS, columns, channels }: WindowRequest): StreamWindow {
  const untilS = fromS + columns * columnS;
  const first = firstIndex(pages.buckets, (bucket) => bucket.lastS >= fromS);
  const end = firstIndex(pages.buckets, (bucket) => bucket.firstS >= untilS);
  let sampleCount = 0;
  for (let index = first; index < end; index++) sampleCount += pages.buckets[index]?.count ?? 0;
  if (sampleCount <= 2 * columns) return readSamples(pages, fromS, untilS, columnS, channels);
  const fold = emptyColumns(channels.length, columns);
  // Where a column is much wider than a bucket, the edges of buckets move an extreme by less than a column.
  if (sampleCount >= 4 * bucketSamples * columns) {
    for (let index = first; index < end; index++) {
      const { firstS, lastS, extremes } = pages.buckets[index] as SignalPages['buckets'][number];
      const [from, to] = [(firstS - fromS) / columnS, (lastS - fromS) / columnS];
      for (const [place, channel] of channels.entries()) {
        foldExtremes(fold, place, from, to, extremes[2 * channel] as number, extremes[2 * channel + 1] as number);
      }
    }
    return { kind: 'columns', fold, sampleCount };
  }
  eachSample(pages, fromS, untilS, (page, at) => {
    const column = ((page.timeS[at] as number) - fromS) / columnS;
    for (const [place, channel] of channels.entries()) {
      const value = channelValue(page, channel, at);
      foldExtremes(fold, place, column, column, value, value);
    }
  });
  return { kind: 'columns', fold, sampleCount };
}

function readSamples(
  pages: SignalPages,
  fromS: number,
  untilS: number,
  columnS: number,
  channels: readonly number[],
): StreamWindow {
  const places: number[] = [];
  const values: number[][] = channels.map(() => []);
  let sampleCount = 0;
  // One sample to either side, so that the line reaches the edges.
  const gaps = new Set(pages.gaps.map(([, endS]) => endS));
  eachSample(pages, lastBefore(pages, fromS), firstAfter(pages, untilS), (page, at) => {
    const timeS = page.timeS[at] as number;
    if (gaps.has(timeS) && places.length > 0) {
      places.push(Number.NaN);
      for (const column of values) column.push(Number.NaN);
    }
    places.push((timeS - fromS) / columnS);
    for (const [place, channel] of channels.entries()) values[place]?.push(channelValue(page, channel, at));
    if (timeS >= fromS && timeS < untilS) sampleCount += 1;
  });
  return { kind: 'samples', places: Float32Array.from(places), values: Float32Array.from(values.flat()), sampleCount };
}

/** Calls for each sample of `[fromS, untilS)`. */
export function eachSample(
  pages: SignalPages,
  fromS: number,
  untilS: number,
  take: (page: ReturnType<SignalPages['read']>, at: number) => void,
): void {
  const first = firstIndex(pages.pages, (page) => page.lastS >= fromS);
  for (let index = first; index < pages.pages.length && (pages.pages[index]?.firstS ?? untilS) < untilS; index++) {
    const page = pages.read(index);
    for (let at = firstAt(page.timeS, fromS); at < page.count && (page.timeS[at] as number) < untilS; at++)
      take(page, at);
  }
}

/** @returns time of the last sample before an instant, or the instant. */
function lastBefore(pages: SignalPages, timeS: number): number {
  const index = firstIndex(pages.pages, (page) => page.lastS >= timeS);
  const before = pages.pages[index - 1]?.lastS ?? timeS;
  if (index >= pages.pages.length) return before;
  const page = pages.read(index);
  const at = firstAt(page.timeS, timeS);
  return at > 0 ? (page.timeS[at - 1] as number) : before;
}

/** @returns an instant behind the first sample at or after another one, or that one. */
function firstAfter(pages: SignalPages, timeS: number): number {
  const index = firstIndex(pages.pages, (page) => page.lastS >= timeS);
  if (index >= pages.pages.length) return timeS;
  const page = pages.read(index);
  return (page.timeS[firstAt(page.timeS, timeS)] ?? timeS) + 1e-9;
}

function firstAt(timeS: Float64Array, fromS: number): number {
  let [low, high] = [0, timeS.length];
  while (low < high) {
    const middle = (low + high) >> 1;
    if ((timeS[middle] as number) >= fromS) high = middle;
    else low = middle + 1;
  }
  return low;
}

/** @returns the first index for which it holds, of a list where it holds from some place on; the length where for none. */
function firstIndex<Item>(list: readonly Item[], holds: (item: Item) => boolean): number {
  let [low, high] = [0, list.length];
  while (low < high) {
    const middle = (low + high) >> 1;
    if (holds(list[middle] as Item)) high = middle;
    else low = middle + 1;
  }
  return low;
}
