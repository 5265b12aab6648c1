/** Stretches in which a sensor lies still, found in a stream whose units and scales are not to be trusted. */
import type { ImuBlock } from '../foundation/imu-block.ts';
import { sampleFlag } from '../foundation/imu-block.ts';
import { norm, scale, type Vec3 } from './vec3.ts';

/** One window of readings, by their means and spreads. Units are the stream's. */
export interface StillWindow {
  readonly startS: number;
  readonly endS: number;
  readonly samples: number;
  readonly accel: Vec3;
  readonly accelSpread: Vec3;
  readonly gyro: Vec3 | null;
  readonly gyroSpread: Vec3 | null;
  /** Whether its force was steady: in size and in direction. */
  readonly still: boolean;
}

export const stillWindowS = 0.5;
/** Of a window that is still: spread of each axis over |a|. Ordinary noise is below 0.5 %, a resting hand above 1 %. */
const stillSpread = 0.015;
/** Its second half points where the first did, to this angle (as a ratio), and is as large. */
const stillShift = 0.015;

/** Takes a stream block by block; gives a window whenever one is complete. */
export class StillWatch {
  #from: number | null = null;
  #times: number[] = [];
  #values: number[] = [];
  #hasGyro = true;

  push(block: ImuBlock): readonly StillWindow[] {
    const windows: StillWindow[] = [];
    this.#hasGyro = block.gyroRadps !== null;
    for (let at = 0; at < block.length; at++) {
      const timeS = block.timeS[at]!;
      if ((block.flags[at]! & sampleFlag.gapBefore) !== 0) this.#restart(timeS);
      this.#from ??= timeS;
      if (timeS - this.#from >= stillWindowS) {
        const window = this.#close();
        if (window !== null) windows.push(window);
        this.#restart(timeS);
      }
      this.#times.push(timeS);
      for (let axis = 0; axis < 3; axis++) this.#values.push(block.accelMps2[3 * at + axis]!);
      for (let axis = 0; axis < 3; axis++) this.#values.push(block.gyroRadps?.[3 * at + axis] ?? 0);
    }
    return windows;
  }

  #restart(timeS: number): void {
    this.#from = timeS;
    this.#times = [];
    this.#values = [];
  }

  #close(): StillWindow | null {
    const n = this.#times.length;
    if (n < 6) return null;
    const half = Math.floor(n / 2);
    const whole = this.#moments(0, n);
    const first = this.#moments(0, half).mean;
    const second = this.#moments(half, n).mean;
    const size = Math.hypot(whole.mean[0]!, whole.mean[1]!, whole.mean[2]!);
    const steady = [0, 1, 2].every((axis) => whole.spread[axis]! < stillSpread * size);
    const shift = Math.hypot(second[0]! - first[0]!, second[1]! - first[1]!, second[2]! - first[2]!);
    return {
      startS: this.#times[0]!,
      endS: this.#times[n - 1]!,
      samples: n,
      accel: three(whole.mean, 0),
      accelSpread: three(whole.spread, 0),
      gyro: this.#hasGyro ? three(whole.mean, 3) : null,
      gyroSpread: this.#hasGyro ? three(whole.spread, 3) : null,
      still: size > 0 && steady && shift < stillShift * size,
    };
  }

  #moments(from: number, to: number): { readonly mean: number[]; readonly spread: number[] } {
    const n = to - from;
    const mean = Array.from({ length: 6 }, () => 0);
    const spread = Array.from({ length: 6 }, () => 0);
    for (let at = from; at < to; at++) for (let k = 0; k < 6; k++) mean[k]! += this.#values[6 * at + k]! / n;
    for (let at = from; at < to; at++) {
      for (let k = 0; k < 6; k++) spread[k]! += (this.#values[6 * at + k]! - mean[k]!) ** 2 / Math.max(1, n - 1);
    }
    return { mean, spread: spread.map(Math.sqrt) };
  }
}

function three(values: readonly number[], from: number): Vec3 {
  return [values[from]!, values[from + 1]!, values[from + 2]!];
}

/** @returns the mean of vectors; null without any. */
export function meanVec(vectors: readonly Vec3[]): Vec3 | null {
  if (vectors.length === 0) return null;
  let sum: Vec3 = [0, 0, 0];
  for (const each of vectors) sum = [sum[0] + each[0], sum[1] + each[1], sum[2] + each[2]];
  return scale(sum, 1 / vectors.length);
}

/** @returns the middle of the sizes of vectors; null without any. */
export function medianNorm(vectors: readonly Vec3[]): number | null {
  const sizes = vectors.map(norm).sort((one, other) => one - other);
  return sizes.length === 0 ? null : sizes[Math.floor(sizes.length / 2)]!;
}
