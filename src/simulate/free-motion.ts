import { type Air, airAcceleration, type BallBody } from './ball-body.ts';
import { type MotionSegment, newState, stateLayout, type Touch } from './ball-state.ts';
import { addContactForces, type ContactMemory, newContactMemory } from './contact-forces.ts';
import { type Court, type Nearest, nearest, surfaceNames } from './court.ts';
import { NodeSegment, NodeStore } from './node-segment.ts';

/** Everything that acts on a ball nobody holds. */
export interface BallWorld {
  readonly ball: BallBody;
  readonly air: Air;
  readonly court: Court;
  readonly gravityMps2: number;
}

export interface FreeRun {
  readonly segments: readonly MotionSegment[];
  /** State at the end, layout of `stateLayout`. */
  readonly end: Float64Array;
  readonly endS: number;
  /** True when `until` ended the run, false when time did. */
  readonly stopped: boolean;
}

/** Position 0–2, velocity 3–5, attitude 6–9, angular rate in ball axes 10–12. */
const stateSize = 13;
const freeStepS = 0.001;
const contactStepS = 0.0001;
const softStepS = 0.0005;

/**
 * Motion of a ball that only gravity, air and surfaces act on: classical Runge–Kutta of fourth order; attitude and
 * angular rate by Euler's equations with the ball's own principal moments.
 */
export class FreeMotion {
  readonly #world: BallWorld;
  readonly #memory: ContactMemory = newContactMemory();
  readonly #shell: Float64Array;
  readonly #force = new Float64Array(3);
  readonly #torque = new Float64Array(3);
  readonly #air = new Float64Array(3);
  readonly #rate = new Float64Array(3);
  readonly #near: Nearest = { gapM: 0, nx: 0, ny: 0, nz: 0 };
  #inContact = false;

  constructor(world: BallWorld) {
    this.#world = world;
    const shell = (2 / 3) * world.ball.radiusM ** 2;
    this.#shell = Float64Array.from(world.ball.inertiaRatio, (ratio) => ratio * shell);
  }

  /**
   * Runs from a state for at most `forS` seconds.
   *
   * @param from state in the layout of `stateLayout`; acceleration and rate change are not read.
   * @param until asked after each step with time and state; true ends the run there.
   */
  run(
    from: Float64Array,
    startS: number,
    forS: number,
    until: (timeS: number, state: Float64Array) => boolean = () => false,
  ): FreeRun {
    const y = new Float64Array(stateSize);
    this.#enter(from, y);
    const next = new Float64Array(stateSize);
    const full = newState();
    const segments: MotionSegment[] = [];
    const limitS = startS + forS;
    let timeS = startS;
    let touched = this.#touched(y);
    if (touched) this.#rememberApproach(y, touched);
    this.#inContact = touched !== 0;
    let nodes = new NodeStore();
    this.#write(y, full);
    nodes.add(timeS, full);
    let stopped = false;
    let sinceTouchS = 0;
    let touch = touchOf(touched);
    const close = () => {
      if (nodes.count > 1) segments.push(new NodeSegment(nodes, touch));
      nodes = new NodeStore();
      nodes.add(timeS, full);
    };
    while (timeS < limitS - 1e-12) {
      const soft = touched === 8 || (touched === 1 && sinceTouchS > 0.06);
      let h = Math.min(limitS - timeS, touched === 0 ? freeStepS : soft ? softStepS : contactStepS);
      this.#inContact = touched !== 0;
      this.#step(y, h, next);
      let after = this.#touched(next);
      if (touched === 0 && after !== 0) {
        h = this.#timeToTouch(y, h, next);
        after = this.#touched(next);
      }
      y.set(next);
      timeS += h;
      this.#inContact = after !== 0;
      this.#write(y, full);
      nodes.add(timeS, full);
      const fresh = after & ~touched;
      if (fresh) this.#rememberApproach(y, fresh);
      sinceTouchS = fresh ? 0 : sinceTouchS + h;
      if ((touched === 0) !== (after === 0)) {
        close();
        touch = touchOf(after);
      }
      touched = after;
      if (until(timeS, full)) {
        stopped = true;
        break;
      }
    }
    close();
    return { segments, end: full, endS: timeS, stopped };
  }

  /** Angular acceleration in the room of a ball in the air with this state; what a hand must leave behind at release. */
  freeState(state: Float64Array): Float64Array {
    const y = new Float64Array(stateSize);
    this.#enter(state, y);
    this.#inContact = false;
    const out = newState();
    this.#write(y, out);
    return out;
  }

  #enter(from: Float64Array, y: Float64Array): void {
    const { position, velocity, attitude, rate } = stateLayout;
    for (let i = 0; i < 3; i++) {
      y[i] = from[position + i] as number;
      y[3 + i] = from[velocity + i] as number;
    }
    for (let i = 0; i < 4; i++) y[6 + i] = from[attitude + i] as number;
    turn(y, 6, from, rate, y, 10, true);
  }

  #write(y: Float64Array, out: Float64Array): void {
    const d = this.#derivative(y, this.#k[4] as Float64Array);
    const { position, velocity, acceleration, attitude, rate, rateChange } = stateLayout;
    for (let i = 0; i < 3; i++) {
      out[position + i] = y[i] as number;
      out[velocity + i] = y[3 + i] as number;
      out[acceleration + i] = d[3 + i] as number;
    }
    for (let i = 0; i < 4; i++) out[attitude + i] = y[6 + i] as number;
    turn(y, 6, y, 10, out, rate, false);
    turn(y, 6, d, 10, out, rateChange, false);
  }

  readonly #k = [0, 1, 2, 3, 4].map(() => new Float64Array(stateSize));
  readonly #stage = new Float64Array(stateSize);

  #derivative(y: Float64Array, out: Float64Array): Float64Array {
    const { ball, air, court, gravityMps2 } = this.#world;
    const rate = this.#rate;
    turn(y, 6, y, 10, rate, 0, false);
    const a = this.#air;
    const whole = this.#stageForAir(y, rate);
    airAcceleration(ball, air, gravityMps2, whole, 0, 3, a);
    const force = this.#force.fill(0);
    const torque = this.#torque.fill(0);
    if (this.#inContact) addContactForces(ball, court, this.#memory, y, 0, 3, rate, force, torque);
    for (let i = 0; i < 3; i++) {
      out[i] = y[3 + i] as number;
      out[3 + i] = (a[i] as number) + (force[i] as number);
    }
    out[5] = (out[5] as number) - gravityMps2;
    const qw = y[6] as number;
    const qx = y[7] as number;
    const qy = y[8] as number;
    const qz = y[9] as number;
    const wx = y[10] as number;
    const wy = y[11] as number;
    const wz = y[12] as number;
    out[6] = 0.5 * (-qx * wx - qy * wy - qz * wz);
    out[7] = 0.5 * (qw * wx + qy * wz - qz * wy);
    out[8] = 0.5 * (qw * wy + qz * wx - qx * wz);
    out[9] = 0.5 * (qw * wz + qx * wy - qy * wx);
    const i0 = this.#shell[0] as number;
    const i1 = this.#shell[1] as number;
    const i2 = this.#shell[2] as number;
    const decay = air.spinDecayPerS;
    const body = this.#bodyTorque;
    turn(y, 6, torque, 0, body, 0, true);
    out[10] = ((body[0] as number) + (i1 - i2) * wy * wz) / i0 - decay * wx;
    out[11] = ((body[1] as number) + (i2 - i0) * wz * wx) / i1 - decay * wy;
    out[12] = ((body[2] as number) + (i0 - i1) * wx * wy) / i2 - decay * wz;
    return out;
  }

  readonly #bodyTorque = new Float64Array(3);
  readonly #airInput = new Float64Array(6);

  #stageForAir(y: Float64Array, rate: Float64Array): Float64Array {
    const s = this.#airInput;
    for (let i = 0; i < 3; i++) {
      s[i] = y[3 + i] as number;
      s[3 + i] = rate[i] as number;
    }
    return s;
  }

  #step(y: Float64Array, h: number, out: Float64Array): void {
    const [k1, k2, k3, k4] = this.#k as [Float64Array, Float64Array, Float64Array, Float64Array, Float64Array];
    const s = this.#stage;
    this.#derivative(y, k1);
    for (let i = 0; i < stateSize; i++) s[i] = (y[i] as number) + 0.5 * h * (k1[i] as number);
    this.#derivative(s, k2);
    for (let i = 0; i < stateSize; i++) s[i] = (y[i] as number) + 0.5 * h * (k2[i] as number);
    this.#derivative(s, k3);
    for (let i = 0; i < stateSize; i++) s[i] = (y[i] as number) + h * (k3[i] as number);
    this.#derivative(s, k4);
    for (let i = 0; i < stateSize; i++) {
      const slope = (k1[i] as number) + 2 * (k2[i] as number) + 2 * (k3[i] as number) + (k4[i] as number);
      out[i] = (y[i] as number) + (h / 6) * slope;
    }
    let length = 0;
    for (let i = 6; i < 10; i++) length += (out[i] as number) ** 2;
    length = Math.sqrt(length);
    for (let i = 6; i < 10; i++) out[i] = (out[i] as number) / length;
  }

  /** Shortens a step so that it ends just inside the first surface touched; leaves the state there in `next`. */
  #timeToTouch(y: Float64Array, h: number, next: Float64Array): number {
    let low = 0;
    let high = h;
    for (let i = 0; i < 40 && high - low > 1e-9; i++) {
      const middle = (low + high) / 2;
      this.#step(y, middle, next);
      if (this.#touched(next)) high = middle;
      else low = middle;
    }
    this.#step(y, high, next);
    return high;
  }

  #touched(y: Float64Array): number {
    const { court, ball } = this.#world;
    const surfaces = court.hoop && (y[2] as number) > 2 ? 4 : 1;
    let bits = 0;
    for (let index = 0; index < surfaces; index++) {
      nearest(court, ball.radiusM, index, y[0] as number, y[1] as number, y[2] as number, this.#near);
      if (this.#near.gapM < 0) bits |= 1 << index;
    }
    return bits;
  }

  #rememberApproach(y: Float64Array, surfaces: number): void {
    const { court, ball } = this.#world;
    for (let index = 0; index < 4; index++) {
      if (!(surfaces & (1 << index))) continue;
      nearest(court, ball.radiusM, index, y[0] as number, y[1] as number, y[2] as number, this.#near);
      const { nx, ny, nz } = this.#near;
      const closing = -((y[3] as number) * nx + (y[4] as number) * ny + (y[5] as number) * nz);
      this.#memory.approachMps[index] = Math.max(0.25, closing);
    }
  }
}

/** A run in several contacts at once is named after the hardest. */
function touchOf(bits: number): Touch {
  if (bits === 0) return 'free';
  for (const index of [1, 2, 0, 3]) {
    if (bits & (1 << index)) return surfaceNames[index] as Touch;
  }
  return 'free';
}

/** Turns the vector at `from[f]` by the quaternion at `q[at]` (back: by its inverse) into `out[o]`. */
function turn(
  q: Float64Array,
  at: number,
  from: Float64Array,
  f: number,
  out: Float64Array,
  o: number,
  back: boolean,
): void {
  const w = q[at] as number;
  const sign = back ? -1 : 1;
  const x = sign * (q[at + 1] as number);
  const y = sign * (q[at + 2] as number);
  const z = sign * (q[at + 3] as number);
  const a = from[f] as number;
  const b = from[f + 1] as number;
  const c = from[f + 2] as number;
  const tx = 2 * (y * c - z * b);
  const ty = 2 * (z * a - x * c);
  const tz = 2 * (x * b - y * a);
  out[o] = a + w * tx + y * tz - z * ty;
  out[o + 1] = b + w * ty + z * tx - x * tz;
  out[o + 2] = c + w * tz + x * ty - y * tx;
}
