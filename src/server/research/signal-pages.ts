import { readSync, writeSync } from 'node:fs';
import { type ImuBlock, sampleFlag } from '../../foundation/imu-block.ts';

/** Of each sensor: three axes and the magnitude of the accelerometer, then of the gyroscope. */
export const channelCount = 8;
const axisCount = 6;
/** Samples of a page in the file, and of a bucket of which the extremes are held in memory. */
const pageSamples = 4096;
export const bucketSamples = 64;

interface Page {
  readonly offset: number;
  readonly count: number;
  readonly firstS: number;
  readonly lastS: number;
}

/** The samples of a page, in columns. */
export interface PageSamples {
  readonly count: number;
  readonly timeS: Float64Array;
  /** x y z of the accelerometer, x y z of the gyroscope, one after the other. */
  readonly axes: readonly Float32Array[];
  readonly flags: Uint8Array;
}

/** A run of samples without a gap in it. */
export interface Bucket {
  readonly firstS: number;
  readonly lastS: number;
  readonly count: number;
  /** Least and greatest value of each channel, one pair after the other. */
  readonly extremes: Float32Array;
  /** Samples are missing before it. */
  readonly gapBefore: boolean;
}

/**
 * The samples of one stream in a file, with the extremes of short runs of them in memory: any stretch of any length can then be drawn
 * without reading all of it. Time is that of the stream.
 */
export class SignalPages {
  readonly hasGyro: boolean;
  readonly #file: PageFile;
  readonly #pages: Page[] = [];
  readonly #buckets: Bucket[] = [];
  readonly #gaps: [number, number][] = [];
  readonly #time = new Float64Array(pageSamples);
  readonly #axes = Array.from({ length: axisCount }, () => new Float32Array(pageSamples));
  readonly #flags = new Uint8Array(pageSamples);
  readonly #cache = new Map<number, PageSamples>();
  #held = 0;
  #count = 0;
  #bucketFrom = 0;
  #lastS = Number.NaN;

  constructor(file: PageFile, hasGyro: boolean) {
    this.#file = file;
    this.hasGyro = hasGyro;
  }

  get sampleCount(): number {
    return this.#count;
  }

  get pages(): readonly Page[] {
    return this.#pages;
  }

  get buckets(): readonly Bucket[] {
    return this.#buckets;
  }

  /** Stretches without samples: last one before, first one after. */
  get gaps(): readonly (readonly [number, number])[] {
    return this.#gaps;
  }

  /** Takes the next samples. */
  add({ length, timeS, accelMps2, gyroRadps, flags }: ImuBlock): void {
    for (let i = 0; i < length; i++) {
      const isGap = ((flags[i] as number) & sampleFlag.gapBefore) !== 0;
      // A page ends where its bucket does, and a bucket where a gap is.
      if (isGap || this.#held - this.#bucketFrom === bucketSamples) this.#endBucket();
      if (this.#held === pageSamples) this.#endPage();
      if (isGap && !Number.isNaN(this.#lastS)) this.#gaps.push([this.#lastS, timeS[i] as number]);
      const at = this.#held++;
      this.#time[at] = timeS[i] as number;
      this.#flags[at] = flags[i] as number;
      for (let axis = 0; axis < 3; axis++) {
        (this.#axes[axis] as Float32Array)[at] = accelMps2[3 * i + axis] as number;
        (this.#axes[axis + 3] as Float32Array)[at] =
          gyroRadps === null ? Number.NaN : (gyroRadps[3 * i + axis] as number);
      }
      this.#lastS = timeS[i] as number;
      this.#count += 1;
    }
  }

  /** No more samples come. */
  finish(): void {
    this.#endBucket();
    this.#endPage();
  }

  /** @returns the samples of a page; the arrays are not to be written to. */
  read(index: number): PageSamples {
    const known = this.#cache.get(index);
    if (known) return known;
    const { offset, count } = this.#pages[index] as Page;
    const bytes = this.#file.read(offset, pageBytes(count));
    const axes = Array.from(
      { length: axisCount },
      (_, axis) => new Float32Array(bytes.buffer, bytes.byteOffset + 8 * count + 4 * count * axis, count),
    );
    const flags = bytes.subarray((8 + 4 * axisCount) * count);
    const page = { count, timeS: new Float64Array(bytes.buffer, bytes.byteOffset, count), axes, flags };
    const [oldest] = this.#cache.keys();
    if (this.#cache.size >= cachedPages && oldest !== undefined) this.#cache.delete(oldest);
    this.#cache.set(index, page);
    return page;
  }

  #endBucket(): void {
    const [from, until] = [this.#bucketFrom, this.#held];
    if (until === from) return;
    const extremes = new Float32Array(2 * channelCount);
    const page = { count: until, timeS: this.#time, axes: this.#axes, flags: this.#flags };
    for (let channel = 0; channel < channelCount; channel++) {
      let [low, high] = [Number.NaN, Number.NaN];
      for (let at = from; at < until; at++) {
        const value = channelValue(page, channel, at);
        if (!(low <= value)) low = value;
        if (!(high >= value)) high = value;
      }
      extremes[2 * channel] = low;
      extremes[2 * channel + 1] = high;
    }
    const gapBefore = ((this.#flags[from] as number) & sampleFlag.gapBefore) !== 0;
    const [firstS, lastS] = [this.#time[from] as number, this.#time[until - 1] as number];
    this.#buckets.push({ firstS, lastS, count: until - from, extremes, gapBefore });
    this.#bucketFrom = until;
  }

  #endPage(): void {
    const count = this.#held;
    if (count === 0) return;
    const parts = [this.#time, ...this.#axes, this.#flags].map((part) => bytesOf(part.subarray(0, count)));
    const offset = this.#file.append(parts);
    this.#pages.push({ offset, count, firstS: this.#time[0] as number, lastS: this.#time[count - 1] as number });
    this.#held = 0;
    this.#bucketFrom = 0;
  }
}

const cachedPages = 48;

/** @returns the value of a channel of a sample: an axis, or the magnitude of three. */
export function channelValue({ axes }: PageSamples, channel: number, at: number): number {
  const [group, axis] = [channel < 4 ? 0 : 3, channel % 4];
  if (axis < 3) return axes[group + axis]?.[at] as number;
  const [x, y, z] = [axes[group]?.[at] as number, axes[group + 1]?.[at] as number, axes[group + 2]?.[at] as number];
  return Math.fround(Math.hypot(x, y, z));
}

function pageBytes(count: number): number {
  return (8 + 4 * axisCount + 1) * count;
}

function bytesOf(array: Float64Array | Float32Array | Uint8Array): Uint8Array {
  return new Uint8Array(array.buffer, array.byteOffset, array.byteLength);
}

/** A file that pages are put behind each other in. */
export class PageFile {
  readonly #descriptor: number;
  #end = 0;

  constructor(descriptor: number) {
    this.#descriptor = descriptor;
  }

  /** @returns where it lies. */
  append(parts: readonly Uint8Array[]): number {
    const offset = this.#end;
    for (const part of parts) {
      for (let done = 0; done < part.length; )
        done += writeSync(this.#descriptor, part, done, part.length - done, this.#end + done);
      this.#end += part.length;
    }
    // Numbers of eight bytes are read in place.
    this.#end += (8 - (this.#end % 8)) % 8;
    return offset;
  }

  read(offset: number, length: number): Uint8Array {
    const bytes = new Uint8Array(new ArrayBuffer(length));
    for (let done = 0; done < length; ) {
      const count = readSync(this.#descriptor, bytes, done, length - done, offset + done);
      if (count === 0)
        throw new Error(`the file of samples ends at ${offset + done}: expected ${length - done} more bytes`);
      done += count;
    }
    return bytes;
  }
}
