/** Bits of a sample's flags, as the service sends them. */
const gapBefore = 4;

/** Host time over a stream's recording time, seconds since the Unix epoch. */
export interface StreamClock {
  readonly zeroS: number;
  readonly slope: number;
}

/** Samples of one stream as they came in one message, in columns. */
export interface SampleColumns {
  readonly count: number;
  /** Recording time of the first sample, and seconds from it to each. */
  readonly firstS: number;
  readonly offsetsS: Float32Array;
  /** x, y, z of the accelerometer, m/s², and of the gyroscope, rad/s, where there is one. */
  readonly axes: readonly Float32Array[];
  readonly flags: Uint8Array;
}

/** The last samples of one stream; older ones make room. Samples count from 0 for as long as the stream goes on. */
export class SampleRing {
  readonly capacity: number;
  readonly hasGyro: boolean;
  readonly #timeS: Float64Array;
  readonly #axes: readonly Float32Array[];
  readonly #flags: Uint8Array;
  #end = 0;
  #willGap = false;

  constructor(capacity: number, hasGyro: boolean) {
    this.capacity = capacity;
    this.hasGyro = hasGyro;
    this.#timeS = new Float64Array(capacity);
    this.#axes = Array.from({ length: hasGyro ? 6 : 3 }, () => new Float32Array(capacity));
    this.#flags = new Uint8Array(capacity);
  }

  /** First sample that is still held, and the one after the last. */
  get start(): number {
    return Math.max(0, this.#end - this.capacity);
  }

  get end(): number {
    return this.#end;
  }

  /** Recording time of the newest sample; not a number before there is one. */
  get lastS(): number {
    return this.#end === 0 ? Number.NaN : this.timeS(this.#end - 1);
  }

  /** Says that samples before the next one were left out on the way. */
  markGap(): void {
    this.#willGap = this.#end > 0;
  }

  push({ count, firstS, offsetsS, axes, flags }: SampleColumns): void {
    for (let i = 0; i < count; i++) {
      const slot = this.#end % this.capacity;
      this.#timeS[slot] = firstS + (offsetsS[i] as number);
      for (const [axis, values] of this.#axes.entries()) values[slot] = axes[axis]?.[i] ?? Number.NaN;
      this.#flags[slot] = (flags[i] as number) | (this.#willGap ? gapBefore : 0);
      this.#willGap = false;
      this.#end += 1;
    }
  }

  timeS(index: number): number {
    return this.#timeS[index % this.capacity] as number;
  }

  hasGapBefore(index: number): boolean {
    return ((this.#flags[index % this.capacity] as number) & gapBefore) !== 0;
  }

  /** @param channel x, y, z or the magnitude (3). @param first 0 of the accelerometer, 3 of the gyroscope. */
  value(channel: number, first: number, index: number): number {
    const slot = index % this.capacity;
    if (channel < 3) return this.#axes[first + channel]?.[slot] ?? Number.NaN;
    const [x, y, z] = [this.#axes[first]?.[slot], this.#axes[first + 1]?.[slot], this.#axes[first + 2]?.[slot]];
    return Math.sqrt((x ?? Number.NaN) ** 2 + (y ?? Number.NaN) ** 2 + (z ?? Number.NaN) ** 2);
  }

  /** @returns the first sample held at or after an instant of recording time. */
  firstAt(timeS: number): number {
    let [low, high] = [this.start, this.#end];
    while (low < high) {
      const middle = (low + high) >> 1;
      if (this.timeS(middle) >= timeS) high = middle;
      else low = middle + 1;
    }
    return low;
  }
}
