import { type MotionSegment, newState, stateLayout } from '../ball-state.ts';
import { NodeSegment, NodeStore } from '../node-segment.ts';
import type { Quat, Vec3 } from '../vectors.ts';

const window = 5;

/**
 * Makes one unbroken motion of poses at equal steps: derivatives at each pose are central differences of fourth order, the
 * motion between poses is that of `NodeSegment`. It follows two steps behind what was pushed.
 */
export class PoseNodes {
  readonly #stepS: number;
  /** Position and attitude of the last poses, oldest first, 7 numbers a pose. */
  #poses: Float64Array[] = [];
  #count = 0;
  #store = new NodeStore();
  readonly #state = newState();

  constructor(stepS: number) {
    this.#stepS = stepS;
  }

  push(position: Vec3, attitude: Quat): void {
    const pose = Float64Array.from([...position, ...attitude]);
    const last = this.#poses[this.#poses.length - 1];
    if (last) {
      let along = 0;
      for (let i = 3; i < 7; i++) along += (pose[i] as number) * (last[i] as number);
      if (along < 0) for (let i = 3; i < 7; i++) pose[i] = -(pose[i] as number);
    } else {
      // At rest before the beginning.
      for (let i = 1; i < window; i++) this.#poses.push(pose);
    }
    this.#poses.push(pose);
    if (this.#poses.length > window) this.#poses.shift();
    this.#count++;
    if (this.#count > 2) this.#addNode();
  }

  /** What is known of the motion since the last call; null when that is less than a step. */
  take(): MotionSegment | null {
    if (this.#store.count < 2) return null;
    const segment = new NodeSegment(this.#store, 'free');
    this.#store = new NodeStore();
    this.#store.add(segment.endS, this.#state);
    return segment;
  }

  #addNode(): void {
    const [a, b, m, d, e] = this.#poses as [Float64Array, Float64Array, Float64Array, Float64Array, Float64Array];
    const h = this.#stepS;
    const s = this.#state;
    const first = (i: number) =>
      ((a[i] as number) - 8 * (b[i] as number) + 8 * (d[i] as number) - (e[i] as number)) / (12 * h);
    const second = (i: number) =>
      (-(a[i] as number) + 16 * (b[i] as number) - 30 * (m[i] as number) + 16 * (d[i] as number) - (e[i] as number)) /
      (12 * h * h);
    const { position: P, velocity: V, acceleration: A, attitude: Q, rate: W, rateChange: D } = stateLayout;
    for (let i = 0; i < 3; i++) {
      s[P + i] = m[i] as number;
      s[V + i] = first(i);
      s[A + i] = second(i);
    }
    for (let i = 0; i < 4; i++) s[Q + i] = m[3 + i] as number;
    vectorOfProduct([first(3), first(4), first(5), first(6)], m, s, W);
    vectorOfProduct([second(3), second(4), second(5), second(6)], m, s, D);
    this.#store.add((this.#count - 3) * h, s);
  }
}

/** Twice the vector part of p q*, with q the attitude of a pose. */
function vectorOfProduct(p: Quat, pose: Float64Array, out: Float64Array, at: number): void {
  const w = pose[3] as number;
  const x = pose[4] as number;
  const y = pose[5] as number;
  const z = pose[6] as number;
  out[at] = 2 * (-p[0] * x + p[1] * w - p[2] * z + p[3] * y);
  out[at + 1] = 2 * (-p[0] * y + p[1] * z + p[2] * w - p[3] * x);
  out[at + 2] = 2 * (-p[0] * z - p[1] * y + p[2] * x + p[3] * w);
}
