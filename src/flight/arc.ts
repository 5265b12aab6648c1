import { standardGravityMps2 } from '../foundation/constants.ts';
import type { Vec3 } from '../signal/vec3.ts';
import { type AirModel, dragReferenceMps } from './flight-model.ts';

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

/** One step of flight (Heun's rule, error below 1e-4 m after a second with the 10 ms step used here). */
export function stepArc(point: ArcPoint, aero: ArcAero, h: number): ArcPoint {
  // Written out in scalars: the numbers of one shot take some ten thousand steps.
  const [x, y, z] = point.positionM;
  const [u, v, w] = point.velocityMps;
  const [px, py, pz] = aero.spinRadps;
  const { dragPerM, dragSlope, dragBend, liftPerRad, liftSlope } = aero;
  const fall = aero.buoyancyMps2 - standardGravityMps2;
  const s = Math.sqrt(u * u + v * v + w * w);
  const e = s / dragReferenceMps - 1;
  const k = -dragPerM * (1 + e * (dragSlope + e * dragBend)) * s;
  const m = liftPerRad * (1 + e * liftSlope);
  const ax = k * u + m * (py * w - pz * v);
  const ay = k * v + m * (pz * u - px * w);
  const az = k * w + m * (px * v - py * u) + fall;
  const u1 = u + h * ax;
  const v1 = v + h * ay;
  const w1 = w + h * az;
  const s1 = Math.sqrt(u1 * u1 + v1 * v1 + w1 * w1);
  const e1 = s1 / dragReferenceMps - 1;
  const k1 = -dragPerM * (1 + e1 * (dragSlope + e1 * dragBend)) * s1;
  const m1 = liftPerRad * (1 + e1 * liftSlope);
  const bx = k1 * u1 + m1 * (py * w1 - pz * v1);
  const by = k1 * v1 + m1 * (pz * u1 - px * w1);
  const bz = k1 * w1 + m1 * (px * v1 - py * u1) + fall;
  const sixth = (h * h) / 6;
  return {
    timeS: point.timeS + h,
    positionM: [
      x + h * u + sixth * (2 * ax + bx),
      y + h * v + sixth * (2 * ay + by),
      z + h * w + sixth * (2 * az + bz),
    ],
    velocityMps: [u + (h / 2) * (ax + bx), v + (h / 2) * (ay + by), w + (h / 2) * (az + bz)],
  };
}

/** @returns the highest point of the arc from `launch` on; `launch` itself where the ball already falls. */
export function apexOf(launch: ArcPoint, aero: ArcAero): ArcPoint {
  let point = launch;
  for (let i = 0; i < 400 && point.velocityMps[2] > 0; i++) {
    const next = stepArc(point, aero, stepS);
    if (next.velocityMps[2] <= 0) {
      const share = point.velocityMps[2] / (point.velocityMps[2] - next.velocityMps[2]);
      return stepArc(point, aero, share * stepS);
    }
    point = next;
  }
  return point;
}

/** @returns where the falling ball's centre passes the height, or null when the arc never reaches it. */
export function fallThrough(launch: ArcPoint, aero: ArcAero, heightM: number): ArcPoint | null {
  let point = launch;
  if (apexOf(launch, aero).positionM[2] < heightM) return null;
  for (let i = 0; i < 600; i++) {
    const next = stepArc(point, aero, stepS);
    if (next.velocityMps[2] < 0 && next.positionM[2] <= heightM && point.positionM[2] >= heightM) {
      // Newton on the vertical motion within one step.
      let h = (stepS * (point.positionM[2] - heightM)) / Math.max(1e-9, point.positionM[2] - next.positionM[2]);
      for (let k = 0; k < 2; k++) {
        const at = stepArc(point, aero, h);
        if (Math.abs(at.velocityMps[2]) < 1e-6) break;
        h -= (at.positionM[2] - heightM) / at.velocityMps[2];
      }
      return stepArc(point, aero, h);
    }
    point = next;
  }
  return null;
}

/**
 * The least speed at release, drag and lift included, with which the falling ball's centre meets a point at distance and
 * height, over all launch angles. In vacuum it is √(g (h + √(h² + L²))) (Brancazio 1981, Am. J. Phys. 49:356).
 *
 * @returns m/s, or null when no speed up to 25 m/s reaches the point.
 */
export function leastSpeedMps(distanceM: number, heightM: number, air: AirModel, backspinRadps: number): number | null {
  const aero: ArcAero = { ...air, spinRadps: [0, -backspinRadps, 0] };
  const speedAt = (angle: number): number => {
    let low = 2;
    let high = 25;
    for (let i = 0; i < 22; i++) {
      const speed = (low + high) / 2;
      const launch: ArcPoint = {
        timeS: 0,
        positionM: [0, 0, 0],
        velocityMps: [speed * Math.cos(angle), 0, speed * Math.sin(angle)],
      };
      const end = fallThrough(launch, aero, heightM);
      if (end && end.positionM[0] >= distanceM) high = speed;
      else low = speed;
    }
    return high;
  };
  const golden = (Math.sqrt(5) - 1) / 2;
  let a = Math.PI / 6;
  let b = (80 * Math.PI) / 180;
  let c = b - golden * (b - a);
  let d = a + golden * (b - a);
  let fc = speedAt(c);
  let fd = speedAt(d);
  for (let i = 0; i < 14; i++) {
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
  const least = Math.min(fc, fd);
  return least < 24.9 ? least : null;
}
