import type { Vec3 } from './vec3.ts';

/** Unit quaternion `[w, x, y, z]`, Hamilton product; `bodyToFrame` rotates body coordinates into frame coordinates. */
export type Quaternion = readonly [number, number, number, number];

export const identityQuaternion: Quaternion = [1, 0, 0, 0];

export function multiply(a: Quaternion, b: Quaternion): Quaternion {
  return [
    a[0] * b[0] - a[1] * b[1] - a[2] * b[2] - a[3] * b[3],
    a[0] * b[1] + a[1] * b[0] + a[2] * b[3] - a[3] * b[2],
    a[0] * b[2] - a[1] * b[3] + a[2] * b[0] + a[3] * b[1],
    a[0] * b[3] + a[1] * b[2] - a[2] * b[1] + a[3] * b[0],
  ];
}

export function conjugate(q: Quaternion): Quaternion {
  return [q[0], -q[1], -q[2], -q[3]];
}

/** @returns `v` carried from the body into the frame by `bodyToFrame`. */
export function rotate(q: Quaternion, v: Vec3): Vec3 {
  const tx = 2 * (q[2] * v[2] - q[3] * v[1]);
  const ty = 2 * (q[3] * v[0] - q[1] * v[2]);
  const tz = 2 * (q[1] * v[1] - q[2] * v[0]);
  return [
    v[0] + q[0] * tx + q[2] * tz - q[3] * ty,
    v[1] + q[0] * ty + q[3] * tx - q[1] * tz,
    v[2] + q[0] * tz + q[1] * ty - q[2] * tx,
  ];
}

/** @returns the rotation by the vector `turn` (axis times angle, rad). */
export function fromRotationVector(turn: Vec3): Quaternion {
  const angle2 = turn[0] * turn[0] + turn[1] * turn[1] + turn[2] * turn[2];
  if (angle2 < 1e-8) {
    // Series to fourth order: below 1e-4 rad it is exact to double precision.
    const s = 0.5 - angle2 / 48;
    return [1 - angle2 / 8, s * turn[0], s * turn[1], s * turn[2]];
  }
  const angle = Math.sqrt(angle2);
  const s = Math.sin(angle / 2) / angle;
  return [Math.cos(angle / 2), s * turn[0], s * turn[1], s * turn[2]];
}

/**
 * Rotation of a body over one step between two rate samples.
 *
 * Second-order coning term after Miller 1983 (J. Guidance 6:287): for a rate that changes linearly over the step the
 * rotation vector is the mean rate times the step plus (rateStart × rateEnd) step² / 12.
 *
 * @param rateStartRadps angular rate in the body at the start, rad/s.
 * @param rateEndRadps angular rate in the body at the end, rad/s.
 * @param stepS length of the step, s; negative steps go back in time.
 * @returns the body's attitude at the end in the body's frame at the start.
 */
export function stepRotation(rateStartRadps: Vec3, rateEndRadps: Vec3, stepS: number): Quaternion {
  const a = rateStartRadps;
  const b = rateEndRadps;
  const half = stepS / 2;
  const coning = (stepS * stepS) / 12;
  return fromRotationVector([
    (a[0] + b[0]) * half + (a[1] * b[2] - a[2] * b[1]) * coning,
    (a[1] + b[1]) * half + (a[2] * b[0] - a[0] * b[2]) * coning,
    (a[2] + b[2]) * half + (a[0] * b[1] - a[1] * b[0]) * coning,
  ]);
}
