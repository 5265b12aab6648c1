import { type MotionSegment, stateLayout, type Touch } from './ball-state.ts';

/** Growing list of states at increasing times. */
export class NodeStore {
  count = 0;
  #timesS = new Float64Array(64);
  #states = new Float64Array(64 * stateLayout.size);

  add(timeS: number, state: Float64Array): void {
    if (this.count === this.#timesS.length) {
      const times = new Float64Array(2 * this.count);
      times.set(this.#timesS);
      this.#timesS = times;
      const states = new Float64Array(2 * this.count * stateLayout.size);
      states.set(this.#states);
      this.#states = states;
    }
    this.#timesS[this.count] = timeS;
    this.#states.set(state, this.count * stateLayout.size);
    this.count++;
  }

  get timesS(): Float64Array {
    return this.#timesS;
  }

  get states(): Float64Array {
    return this.#states;
  }
}

const { position: P, velocity: V, acceleration: A, attitude: Q, rate: W, rateChange: D, size: N } = stateLayout;

/**
 * A stretch known at nodes. Between them position, velocity and angular rate follow cubic Hermite polynomials through
 * values and slopes, acceleration and rate change are the slopes of those, the attitude is a normalised Hermite cubic.
 */
export class NodeSegment implements MotionSegment {
  readonly startS: number;
  readonly endS: number;
  readonly touch: Touch;
  readonly #timesS: Float64Array;
  readonly #states: Float64Array;
  readonly #count: number;
  #at = 0;

  constructor(nodes: NodeStore, touch: Touch) {
    this.#count = nodes.count;
    this.#timesS = nodes.timesS;
    this.#states = nodes.states;
    this.startS = nodes.timesS[0] as number;
    this.endS = nodes.timesS[nodes.count - 1] as number;
    this.touch = touch;
  }

  stateAt(timeS: number, out: Float64Array): void {
    const times = this.#timesS;
    let i = this.#at;
    if ((times[i] as number) > timeS) i = 0;
    if (i + 8 < this.#count && (times[i + 8] as number) < timeS) i = this.#bisect(timeS);
    while (i < this.#count - 2 && (times[i + 1] as number) < timeS) i++;
    this.#at = i;
    const s = this.#states;
    const a = i * N;
    const b = a + N;
    const h = (times[i + 1] as number) - (times[i] as number);
    const u = Math.min(1, Math.max(0, (timeS - (times[i] as number)) / h));
    hermite(s, a + P, a + V, b + P, b + V, h, u, out, P);
    hermite(s, a + V, a + A, b + V, b + A, h, u, out, V);
    slope(s, a + V, a + A, b + V, b + A, h, u, out, A);
    hermite(s, a + W, a + D, b + W, b + D, h, u, out, W);
    slope(s, a + W, a + D, b + W, b + D, h, u, out, D);
    attitudeBetween(s, a, b, h, u, out);
  }

  #bisect(timeS: number): number {
    let low = 0;
    let high = this.#count - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if ((this.#timesS[middle] as number) <= timeS) low = middle;
      else high = middle;
    }
    return low;
  }
}

function hermite(
  s: Float64Array,
  y0: number,
  d0: number,
  y1: number,
  d1: number,
  h: number,
  u: number,
  out: Float64Array,
  o: number,
): void {
  const v = u * u;
  const w = v * u;
  const b1 = 3 * v - 2 * w;
  const b0 = 1 - b1;
  const c0 = (w - 2 * v + u) * h;
  const c1 = (w - v) * h;
  for (let i = 0; i < 3; i++) {
    out[o + i] =
      b0 * (s[y0 + i] as number) + c0 * (s[d0 + i] as number) + b1 * (s[y1 + i] as number) + c1 * (s[d1 + i] as number);
  }
}

function slope(
  s: Float64Array,
  y0: number,
  d0: number,
  y1: number,
  d1: number,
  h: number,
  u: number,
  out: Float64Array,
  o: number,
): void {
  const v = u * u;
  const b = (6 * u - 6 * v) / h;
  const c0 = 3 * v - 4 * u + 1;
  const c1 = 3 * v - 2 * u;
  for (let i = 0; i < 3; i++) {
    out[o + i] =
      b * ((s[y1 + i] as number) - (s[y0 + i] as number)) + c0 * (s[d0 + i] as number) + c1 * (s[d1 + i] as number);
  }
}

/** Attitude at share `u` of the step between two nodes; its slope is half of rate (room) times attitude. */
export function attitudeBetween(s: Float64Array, a: number, b: number, h: number, u: number, out: Float64Array): void {
  const v = u * u;
  const w = v * u;
  const b1 = 3 * v - 2 * w;
  const b0 = 1 - b1;
  const c0 = (w - 2 * v + u) * h * 0.5;
  const c1 = (w - v) * h * 0.5;
  let length = 0;
  for (let i = 0; i < 4; i++) {
    const value =
      b0 * (s[a + Q + i] as number) +
      c0 * rateTimesAttitude(s, a, i) +
      b1 * (s[b + Q + i] as number) +
      c1 * rateTimesAttitude(s, b, i);
    out[Q + i] = value;
    length += value * value;
  }
  length = Math.sqrt(length);
  for (let i = 0; i < 4; i++) out[Q + i] = (out[Q + i] as number) / length;
}

function rateTimesAttitude(s: Float64Array, node: number, component: number): number {
  const q0 = s[node + Q] as number;
  const q1 = s[node + Q + 1] as number;
  const q2 = s[node + Q + 2] as number;
  const q3 = s[node + Q + 3] as number;
  const x = s[node + W] as number;
  const y = s[node + W + 1] as number;
  const z = s[node + W + 2] as number;
  if (component === 0) return -x * q1 - y * q2 - z * q3;
  if (component === 1) return x * q0 + y * q3 - z * q2;
  if (component === 2) return y * q0 + z * q1 - x * q3;
  return z * q0 + x * q2 - y * q1;
}
