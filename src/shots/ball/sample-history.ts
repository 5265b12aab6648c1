import type { ImuBlock } from '../../foundation/imu-block.ts';

/** The last seconds of a stream in growing columns; samples are counted from the start of the stream. */
export class SampleHistory {
  /** Number of samples taken since the start of the stream. */
  total = 0;
  /** While this is set no sample is let go, so that views stay valid and count from the same one. */
  held = false;
  private readonly keep: number;
  private base = 0;
  private timeS: Float64Array;
  private accelMps2: Float64Array;
  private gyroRadps: Float64Array | null;
  private flags: Uint8Array;
  private whole: ImuBlock;

  /**
   * @param keep samples that stay reachable at least.
   * @param withGyro whether the stream has a gyroscope.
   */
  constructor(keep: number, withGyro: boolean) {
    this.keep = keep;
    const capacity = 2 * keep;
    this.timeS = new Float64Array(capacity);
    this.accelMps2 = new Float64Array(3 * capacity);
    this.gyroRadps = withGyro ? new Float64Array(3 * capacity) : null;
    this.flags = new Uint8Array(capacity);
    this.whole = this.columnsNow();
  }

  private columnsNow(): ImuBlock {
    const { timeS, accelMps2, gyroRadps, flags } = this;
    return { length: timeS.length, timeS, accelMps2, gyroRadps, flags };
  }

  /** Makes room without letting a sample go. */
  private grow(): void {
    const { timeS, accelMps2, gyroRadps, flags } = this;
    const capacity = 2 * timeS.length;
    this.timeS = new Float64Array(capacity);
    this.timeS.set(timeS);
    this.accelMps2 = new Float64Array(3 * capacity);
    this.accelMps2.set(accelMps2);
    if (gyroRadps) {
      this.gyroRadps = new Float64Array(3 * capacity);
      this.gyroRadps.set(gyroRadps);
    }
    this.flags = new Uint8Array(capacity);
    this.flags.set(flags);
    this.whole = this.columnsNow();
  }

  get hasGyro(): boolean {
    return this.gyroRadps !== null;
  }

  /** The columns themselves, filled up to `total - oldest`: for single samples, where a view would cost more than the work. */
  get columns(): ImuBlock {
    return this.whole;
  }

  /** Stream number of the oldest sample still held. */
  get oldest(): number {
    return this.base;
  }

  /** Takes sample `i` of a block. */
  push(block: ImuBlock, i: number): void {
    let at = this.total - this.base;
    if (at >= 2 * this.keep && !this.held) {
      const from = at - this.keep;
      this.timeS.copyWithin(0, from, at);
      this.accelMps2.copyWithin(0, 3 * from, 3 * at);
      this.gyroRadps?.copyWithin(0, 3 * from, 3 * at);
      this.flags.copyWithin(0, from, at);
      this.base += from;
      at = this.keep;
    } else if (at === this.timeS.length) this.grow();
    this.timeS[at] = block.timeS[i] as number;
    this.flags[at] = block.flags[i] as number;
    for (let axis = 0; axis < 3; axis++) {
      this.accelMps2[3 * at + axis] = block.accelMps2[3 * i + axis] as number;
      if (this.gyroRadps && block.gyroRadps) this.gyroRadps[3 * at + axis] = block.gyroRadps[3 * i + axis] as number;
    }
    this.total++;
  }

  /** @returns the held samples as one block that shares memory; it is valid until the next `push`, and while `held`. */
  view(): ImuBlock {
    const length = this.total - this.base;
    return {
      length,
      timeS: this.timeS.subarray(0, length),
      accelMps2: this.accelMps2.subarray(0, 3 * length),
      gyroRadps: this.gyroRadps ? this.gyroRadps.subarray(0, 3 * length) : null,
      flags: this.flags.subarray(0, length),
    };
  }
}
