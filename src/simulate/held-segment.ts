import { type MotionSegment, stateLayout } from './ball-state.ts';
import { attitudeBetween } from './node-segment.ts';
import type { Track } from './track.ts';
import { multiplyQuat, normaliseQuat, type Quat, quatFromRotationVector, type Vec3 } from './vectors.ts';

const { position: P, velocity: V, acceleration: A, attitude: Q, rate: W, rateChange: D, size: N } = stateLayout;

/**
 * A ball in the hands: path and angular rate (room axes) are given, the attitude follows from the rate by the fourth-order
 * Magnus method at two Gauss points a step (Iserles, Munthe-Kaas, Nørsett and Zanna 2000, Acta Numerica 9:215).
 */
export class HeldSegment implements MotionSegment {
  readonly startS: number;
  readonly endS: number;
  readonly touch = 'hand' as const;
  readonly #path: Track;
  readonly #turning: Track;
  readonly #stepS: number;
  /** Attitude and rate at equally spaced nodes, layout of `stateLayout` with only those two filled. */
  readonly #nodes: Float64Array;
  readonly #count: number;

  /** @param turning angular rate in room axes, rad/s; as long as `path`. */
  constructor(startS: number, path: Track, turning: Track, attitude: Quat) {
    this.startS = startS;
    this.endS = startS + path.durationS;
    this.#path = path;
    this.#turning = turning;
    const steps = Math.max(1, Math.ceil(path.durationS / 0.002));
    this.#count = steps;
    this.#stepS = path.durationS / steps;
    this.#nodes = new Float64Array((steps + 1) * N);
    this.#turn(attitude);
  }

  #turn(attitude: Quat): void {
    const h = this.#stepS;
    const early = h * (0.5 - Math.sqrt(3) / 6);
    const late = h * (0.5 + Math.sqrt(3) / 6);
    const mix = (Math.sqrt(3) / 12) * h * h;
    const w = new Float64Array(12);
    let q = attitude;
    for (let i = 0; i <= this.#count; i++) {
      const at = i * N;
      this.#nodes.set(q, at + Q);
      this.#turning.at(i * h, w, 0, 9, -1);
      this.#nodes.set(w.subarray(0, 3), at + W);
      if (i === this.#count) break;
      this.#turning.at(i * h + early, w, 3, 9, -1);
      this.#turning.at(i * h + late, w, 6, 9, -1);
      const a = w[3] as number;
      const b = w[4] as number;
      const c = w[5] as number;
      const d = w[6] as number;
      const e = w[7] as number;
      const f = w[8] as number;
      // For rates in room axes the later factor stands on the left, so the commutator is late × early.
      const turn: Vec3 = [
        (h / 2) * (a + d) + mix * (e * c - f * b),
        (h / 2) * (b + e) + mix * (f * a - d * c),
        (h / 2) * (c + f) + mix * (d * b - e * a),
      ];
      q = normaliseQuat(multiplyQuat(quatFromRotationVector(turn), q));
    }
  }

  stateAt(timeS: number, out: Float64Array): void {
    const t = Math.min(this.endS - this.startS, Math.max(0, timeS - this.startS));
    this.#path.at(t, out, P, V, A);
    this.#turning.at(t, out, W, D, -1);
    const i = Math.min(this.#count - 1, Math.floor(t / this.#stepS));
    attitudeBetween(this.#nodes, i * N, (i + 1) * N, this.#stepS, t / this.#stepS - i, out);
  }
}
