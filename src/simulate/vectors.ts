/** Small vector and quaternion arithmetic of the simulator's own. Quaternions are unit, w x y z, and turn body to room. */
export type Vec3 = readonly [number, number, number];
export type Quat = readonly [number, number, number, number];

export const zero3: Vec3 = [0, 0, 0];

export function add(a: Vec3, b: Vec3): Vec3 {
  return [a[0] + b[0], a[1] + b[1], a[2] + b[2]];
}

export function subtract(a: Vec3, b: Vec3): Vec3 {
  return [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
}

export function scale(a: Vec3, factor: number): Vec3 {
  return [a[0] * factor, a[1] * factor, a[2] * factor];
}

/** a + factor b. */
export function addScaled(a: Vec3, b: Vec3, factor: number): Vec3 {
  return [a[0] + factor * b[0], a[1] + factor * b[1], a[2] + factor * b[2]];
}

export function dot(a: Vec3, b: Vec3): number {
  return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

export function cross(a: Vec3, b: Vec3): Vec3 {
  return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
}

export function norm(a: Vec3): number {
  return Math.sqrt(a[0] * a[0] + a[1] * a[1] + a[2] * a[2]);
}

/** The unit vector along `a`, or `fallback` where `a` has no length. */
export function unitOr(a: Vec3, fallback: Vec3): Vec3 {
  const length = norm(a);
  return length > 0 ? scale(a, 1 / length) : fallback;
}

export function multiplyQuat(a: Quat, b: Quat): Quat {
  return [
    a[0] * b[0] - a[1] * b[1] - a[2] * b[2] - a[3] * b[3],
    a[0] * b[1] + a[1] * b[0] + a[2] * b[3] - a[3] * b[2],
    a[0] * b[2] - a[1] * b[3] + a[2] * b[0] + a[3] * b[1],
    a[0] * b[3] + a[1] * b[2] - a[2] * b[1] + a[3] * b[0],
  ];
}

export function conjugate(q: Quat): Quat {
  return [q[0], -q[1], -q[2], -q[3]];
}

export function normaliseQuat(q: Quat): Quat {
  const length = Math.sqrt(q[0] * q[0] + q[1] * q[1] + q[2] * q[2] + q[3] * q[3]);
  return [q[0] / length, q[1] / length, q[2] / length, q[3] / length];
}

/** q v q*: the vector turned by the quaternion. */
export function rotate(q: Quat, v: Vec3): Vec3 {
  const [w, x, y, z] = q;
  const tx = 2 * (y * v[2] - z * v[1]);
  const ty = 2 * (z * v[0] - x * v[2]);
  const tz = 2 * (x * v[1] - y * v[0]);
  return [v[0] + w * tx + y * tz - z * ty, v[1] + w * ty + z * tx - x * tz, v[2] + w * tz + x * ty - y * tx];
}

/** q* v q: the vector turned back. */
export function rotateBack(q: Quat, v: Vec3): Vec3 {
  return rotate(conjugate(q), v);
}

/** The quaternion of a rotation vector in radians (axis times angle). */
export function quatFromRotationVector(rotationRad: Vec3): Quat {
  const angle = norm(rotationRad);
  const half = angle / 2;
  const factor = angle > 1e-6 ? Math.sin(half) / angle : 0.5 - (angle * angle) / 48;
  return [Math.cos(half), rotationRad[0] * factor, rotationRad[1] * factor, rotationRad[2] * factor];
}

/** Rotation about the vertical by `angleRad`, counter-clockwise seen from above. */
export function rotateAboutVertical(v: Vec3, angleRad: number): Vec3 {
  const c = Math.cos(angleRad);
  const s = Math.sin(angleRad);
  return [c * v[0] - s * v[1], s * v[0] + c * v[1], v[2]];
}
