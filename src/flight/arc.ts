import { standardGravityMps2 } from '../foundation/constants.ts';
import type { Vec3 } from '../signal/vec3.ts';
import { type AirModel, dragReferenceMps, liftShare } from './flight-model.ts';

/** A ball on its way: place relative to release, z up, and velocity. */
export interface ArcPoint {
  readonly timeS: number;
  readonly positionM: Vec3;
  readonly velocityMps: Vec3;
}

/** One ball in one air, and its spin in the same frame, rad/s. */
export interface ArcAero extends AirModel {
  readonly spinRadps: Vec3;
}

const stepS = 0.01;

/** Where a ball is in memory that steps go on in: time, place and velocity. */
type Moving = Float64Array;
const movingCount = 7;

/** Two places for one ball, so that the step before is at hand; no walk along an arc calls another. */
const places = [new Float64Array(movingCount), new Float64Array(movingCount)] as const;

function start({ timeS, positionM, velocityMps }: ArcPoint): [Moving, Moving] {
  const [at, next] = places;
  at[0] = timeS;
  for (let axis = 0; axis < 3; axis++) {
    at[1 + axis] = positionM[axis] as number;
    at[4 + axis] = velocityMps[axis] as number;
  }
  return [at, next];
}

function pointOf(at: Moving): ArcPoint {
  return {
    timeS: at[0] as number,
    positionM: [at[1] as number, at[2] as number, at[3] as number],
    velocityMps: [at[4] as number, at[5] as number, at[6] as number],
  };
}

/** One step of flight (Heun's rule, error below 1e-4 m after a second with the 10 ms step used here). */
function step(at: Moving, aero: ArcAero, h: number, to: Moving): void {
  // Written out in scalars: the numbers of one shot take some ten thousand steps.
  const u = at[4] as number;
  const v = at[5] as number;
  const w = at[6] as number;
  const spin = aero.spinRadps;
  const px = spin[0];
  const py = spin[1];
  const pz = spin[2];
  const { dragPerM, dragSlope, dragBend, liftPerRad, liftSlope } = aero;
  const fall = aero.buoyancyMps2 - standardGravityMps2;
  const s = Math.sqrt(u * u + v * v + w * w);
  const e = s / dragReferenceMps - 1;
  const k = -dragPerM * (1 + e * (dragSlope + e * dragBend)) * s;
  const m = liftPerRad * liftShare(s, liftSlope);
  const ax = k * u + m * (py * w - pz * v);
  const ay = k * v + m * (pz * u - px * w);
  const az = k * w + m * (px * v - py * u) + fall;
  const u1 = u + h * ax;
  const v1 = v + h * ay;
  const w1 = w + h * az;
  const s1 = Math.sqrt(u1 * u1 + v1 * v1 + w1 * w1);
  const e1 = s1 / dragReferenceMps - 1;
  const k1 = -dragPerM * (1 + e1 * (dragSlope + e1 * dragBend)) * s1;
  const m1 = liftPerRad * liftShare(s1, liftSlope);
  const bx = k1 * u1 + m1 * (py * w1 - pz * v1);
  const by = k1 * v1 + m1 * (pz * u1 - px * w1);
  const bz = k1 * w1 + m1 * (px * v1 - py * u1) + fall;
  const sixth = (h * h) / 6;
  to[0] = (at[0] as number) + h;
  to[1] = (at[1] as number) + h * u + sixth * (2 * ax + bx);
  to[2] = (at[2] as number) + h * v + sixth * (2 * ay + by);
  to[3] = (at[3] as number) + h * w + sixth * (2 * az + bz);
  to[4] = u + (h / 2) * (ax + bx);
  to[5] = v + (h / 2) * (ay + by);
  to[6] = w + (h / 2) * (az + bz);
}

/** @returns the ball one step of length `h`, s, later. */
export function stepArc(point: ArcPoint, aero: ArcAero, h: number): ArcPoint {
  const [at, next] = start(point);
  step(at, aero, h, next);
  return pointOf(next);
}

/** @returns the highest point of the arc from `launch` on; `launch` itself where the ball already falls. */
export function apexOf(launch: ArcPoint, aero: ArcAero): ArcPoint {
  if (!(launch.velocityMps[2] > 0)) return launch;
  let [at, next] = start(launch);
  for (let i = 0; i < 400 && (at[6] as number) > 0; i++) {
    step(at, aero, stepS, next);
    const rise = at[6] as number;
    const riseNext = next[6] as number;
    if (riseNext <= 0) {
      const share = rise / (rise - riseNext);
      step(at, aero, share * stepS, next);
      return pointOf(next);
    }
    [at, next] = [next, at];
  }
  return pointOf(at);
}

/** @returns where the falling ball's centre passes the height, or null when the arc never reaches it. */
export function fallThrough(launch: ArcPoint, aero: ArcAero, heightM: number): ArcPoint | null {
  let [at, next] = start(launch);
  for (let i = 0; i < 600; i++) {
    step(at, aero, stepS, next);
    const height = at[3] as number;
    const heightNext = next[3] as number;
    if ((next[6] as number) < 0 && heightNext <= heightM) {
      if (height < heightM) return null;
      // Newton on the vertical motion within one step.
      let h = (stepS * (height - heightM)) / Math.max(1e-9, height - heightNext);
      for (let k = 0; k < 2; k++) {
        step(at, aero, h, next);
        const rise = next[6] as number;
        if (Math.abs(rise) < 1e-6) break;
        h -= ((next[3] as number) - heightM) / rise;
      }
      step(at, aero, h, next);
      return pointOf(next);
    }
    [at, next] = [next, at];
  }
  return null;
}

/** @returns where the ball is so much later on its way. */
export function flyFor(launch: ArcPoint, aero: ArcAero, forS: number): ArcPoint {
  let [at, next] = start(launch);
  const steps = Math.max(1, Math.ceil(forS / stepS));
  for (let i = 0; i < steps; i++) {
    step(at, aero, forS / steps, next);
    [at, next] = [next, at];
  }
  return pointOf(at);
}

/** m/s; no throw is slower or faster. */
const speedRange = { from: 2, to: 25 } as const;
const radPerDegree = Math.PI / 180;
/** Launch angles among which the least speed lies, and how near it is come by the golden section, rad; a parabola does the rest. */
const angleRange = { from: 30 * radPerDegree, to: 80 * radPerDegree, near: 4 * radPerDegree } as const;

/**
 * The least speed at release, drag and lift included, with which the falling ball's centre meets a point at distance and
 * height, over all launch angles. In vacuum it is √(g (h + √(h² + L²))) (Brancazio 1981, Am. J. Phys. 49:356).
 *
 * @returns m/s, or null when no speed up to 25 m/s reaches the point.
 */
export function leastSpeedMps(distanceM: number, heightM: number, air: AirModel, backspinRadps: number): number | null {
  const aero: ArcAero = { ...air, spinRadps: [0, -backspinRadps, 0] };
  const beyond = (speed: number, angle: number): number => {
    const velocityMps: Vec3 = [speed * Math.cos(angle), 0, speed * Math.sin(angle)];
    const end = fallThrough({ timeS: 0, positionM: [0, 0, 0], velocityMps }, aero, heightM);
    return (end ? end.positionM[0] : 0) - distanceM;
  };
  const speedAt = (angle: number): number => speedToReach((speed) => beyond(speed, angle), distanceM, heightM, angle);
  const golden = (Math.sqrt(5) - 1) / 2;
  let a: number = angleRange.from;
  let b: number = angleRange.to;
  let c = b - golden * (b - a);
  let d = a + golden * (b - a);
  let fc = speedAt(c);
  let fd = speedAt(d);
  while (b - a > angleRange.near) {
    if (fc < fd) {
      b = d;
      d = c;
      fd = fc;
      c = b - golden * (b - a);
      fc = speedAt(c);
    } else {
      a = c;
      c = d;
      fc = fd;
      d = a + golden * (b - a);
      fd = speedAt(d);
    }
  }
  const middle = (a + b) / 2;
  const half = (b - a) / 2;
  const [left, centre, right] = [speedAt(a), speedAt(middle), speedAt(b)];
  const bend = left - 2 * centre + right;
  const vertex = bend > 0 ? speedAt(middle + (half * (left - right)) / (2 * bend)) : centre;
  const least = Math.min(vertex, centre, fc, fd);
  return least < 24.9 ? least : null;
}

/**
 * The speed at which a throw at an angle comes just far enough: from the one in vacuum, by the secant within a bracket that shrinks
 * at both ends (the Illinois rule, Dowell and Jarratt 1971, BIT 11:168).
 *
 * @param beyond how far a throw at some speed goes beyond the point, m; rises with the speed.
 * @returns m/s; the end of the range where no speed suffices.
 */
function speedToReach(beyond: (speedMps: number) => number, distanceM: number, heightM: number, angle: number): number {
  const { from, to } = speedRange;
  const rise = distanceM * Math.tan(angle) - heightM;
  if (!(rise > 0)) return to;
  const inVacuum = (distanceM / Math.cos(angle)) * Math.sqrt(standardGravityMps2 / (2 * rise));
  let low = Math.min(to, Math.max(from, inVacuum));
  let missLow = beyond(low);
  let high = low;
  let missHigh = missLow;
  while (missHigh < 0) {
    if (high >= to) return to;
    low = high;
    missLow = missHigh;
    high = Math.min(to, 1.06 * high);
    missHigh = beyond(high);
  }
  while (missLow >= 0) {
    if (low <= from) return from;
    high = low;
    missHigh = missLow;
    low = Math.max(from, 0.96 * low);
    missLow = beyond(low);
  }
  let side = 0;
  for (let i = 0; i < 40 && high - low > 1e-6; i++) {
    const speed = (low * missHigh - high * missLow) / (missHigh - missLow);
    const miss = beyond(speed);
    if (Math.abs(miss) < 1e-7) return speed;
    if (miss < 0) {
      low = speed;
      missLow = miss;
      if (side === -1) missHigh /= 2;
      side = -1;
    } else {
      high = speed;
      missHigh = miss;
      if (side === 1) missLow /= 2;
      side = 1;
    }
  }
  return (low + high) / 2;
}
