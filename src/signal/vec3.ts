/** Three-component vectors `[x, y, z]`; the caller fixes frame and unit. */
export type Vec3 = readonly [number, number, number];

export function dot(a: Vec3, b: Vec3): number {
  return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

export function cross(a: Vec3, b: Vec3): Vec3 {
  return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
}

export function add(a: Vec3, b: Vec3): Vec3 {
  return [a[0] + b[0], a[1] + b[1], a[2] + b[2]];
}

export function subtract(a: Vec3, b: Vec3): Vec3 {
  return [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
}

export function scale(a: Vec3, factor: number): Vec3 {
  return [a[0] * factor, a[1] * factor, a[2] * factor];
}

export function norm(a: Vec3): number {
  return Math.sqrt(dot(a, a));
}

/** @returns a vector of length 1 along `a`, or `fallback` where `a` has no direction. */
export function unit(a: Vec3, fallback: Vec3 = [0, 0, 1]): Vec3 {
  const length = norm(a);
  return length > 0 ? scale(a, 1 / length) : fallback;
}

/** @returns two unit vectors that complete the unit vector `axis` to a right-handed orthogonal frame. */
export function tangentBasis(axis: Vec3): readonly [Vec3, Vec3] {
  const helper: Vec3 = Math.abs(axis[0]) < 0.6 ? [1, 0, 0] : [0, 1, 0];
  const first = unit(cross(axis, helper));
  return [first, cross(axis, first)];
}

/** @returns the three values that start at `3 * index` of an interleaved array. */
export function vecAt(values: Float64Array, index: number): Vec3 {
  return [values[3 * index] as number, values[3 * index + 1] as number, values[3 * index + 2] as number];
}
