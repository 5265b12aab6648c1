import type { Vec3 } from '../vectors.ts';

/**
 * Second-order response x'' + 2 zeta w x' + w² x = drive, three channels, stepped at a fixed interval by the exact solution
 * for a drive held over the step.
 */
export class Oscillator {
  readonly x = new Float64Array(3);
  readonly v = new Float64Array(3);
  readonly #m: readonly [number, number, number, number];
  readonly #b: readonly [number, number];

  constructor(frequencyHz: number, dampingRatio: number, stepS: number) {
    if (!(dampingRatio > 0 && dampingRatio < 1)) throw new RangeError(`dampingRatio = ${dampingRatio} is outside 0..1`);
    const w = 2 * Math.PI * frequencyHz;
    const decay = dampingRatio * w;
    const wd = w * Math.sqrt(1 - dampingRatio * dampingRatio);
    const e = Math.exp(-decay * stepS);
    const c = Math.cos(wd * stepS);
    const s = Math.sin(wd * stepS) / wd;
    this.#m = [e * (c + decay * s), e * s, -e * w * w * s, e * (c - decay * s)];
    this.#b = [(1 - this.#m[0]) / (w * w), this.#m[1]];
  }

  step(x: number, y: number, z: number): void {
    const drive = [x, y, z];
    const [a, b, c, d] = this.#m;
    for (let i = 0; i < 3; i++) {
      const p = this.x[i] as number;
      const q = this.v[i] as number;
      const u = drive[i] as number;
      this.x[i] = a * p + b * q + this.#b[0] * u;
      this.v[i] = c * p + d * q + this.#b[1] * u;
    }
  }
}

/** A short push on the arm from outside: a raised half wave of acceleration. */
export interface Pulse {
  readonly atS: number;
  readonly durationS: number;
  readonly peakMps2: Vec3;
}

export function pulseSum(pulses: readonly Pulse[], timeS: number): [number, number, number] {
  const sum: [number, number, number] = [0, 0, 0];
  for (const { atS, durationS, peakMps2 } of pulses) {
    const u = (timeS - atS) / durationS;
    if (u <= 0 || u >= 1) continue;
    const half = Math.sin(Math.PI * u);
    const size = half * half;
    for (let i = 0; i < 3; i++) sum[i] = (sum[i] as number) + size * (peakMps2[i] as number);
  }
  return sum;
}

/**
 * Smooths columns in place by three running means: every output is a piecewise quadratic blend of inputs within
 * ±1.5 `halfWidth`-double steps, twice smoother than the input. Ends are padded with their own values.
 */
export function smoothColumns(values: Float64Array, columns: number, halfWidth: number): void {
  const n = values.length / columns;
  const width = 2 * halfWidth + 1;
  const from = new Float64Array(n);
  for (let c = 0; c < columns; c++) {
    for (let pass = 0; pass < 3; pass++) {
      for (let i = 0; i < n; i++) from[i] = values[i * columns + c] as number;
      const at = (i: number) => from[Math.min(n - 1, Math.max(0, i))] as number;
      let sum = 0;
      for (let k = -halfWidth; k <= halfWidth; k++) sum += at(k);
      for (let i = 0; i < n; i++) {
        values[i * columns + c] = sum / width;
        sum += at(i + halfWidth + 1) - at(i - halfWidth);
      }
    }
  }
}
