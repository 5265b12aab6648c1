import { conjugate, multiply, type Quaternion } from './rotation.ts';

/** Angles by which an attitude is wrong, rad, none negative. */
export interface AttitudeDifference {
  readonly totalRad: number;
  /** The part about the vertical. */
  readonly headingRad: number;
  /** The least angle that remains after any turn about the vertical. */
  readonly inclinationRad: number;
}

/**
 * Splits the difference of two attitudes into heading and inclination.
 *
 * Source: Laidig, Caruso, Cereatti and Seel 2021, BROAD, Data 6(7):72, their error angles: for the error quaternion
 * q in the world frame total = 2 acos |w|, heading = 2 atan |z / w|, inclination = 2 acos √(w² + z²).
 *
 * @param estimate sensor to world (z up).
 * @param reference sensor to the same world.
 */
export function attitudeDifference(estimate: Quaternion, reference: Quaternion): AttitudeDifference {
  const [w, x, y, z] = multiply(estimate, conjugate(reference));
  // Sines and cosines together: an arc cosine near 1 would lose half the digits.
  return {
    totalRad: 2 * Math.atan2(Math.sqrt(x * x + y * y + z * z), Math.abs(w)),
    headingRad: 2 * Math.atan2(Math.abs(z), Math.abs(w)),
    inclinationRad: 2 * Math.atan2(Math.sqrt(x * x + y * y), Math.sqrt(w * w + z * z)),
  };
}
