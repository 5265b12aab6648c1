/**
 * Geometry of one arm: shoulder, elbow, forearm roll and wrist, solved backward from where shoulder and wrist are.
 *
 * Axes of forearm and hand: x toward the fingers, z out of the back (dorsal), y = z × x: the thumb's side of a right arm,
 * the little finger's of a left one.
 */
import { add, addScaled, cross, dot, norm, type Quat, scale, subtract, unitOr, type Vec3 } from '../vectors.ts';

export interface ArmLengths {
  readonly upperArmM: number;
  /** Elbow to wrist. */
  readonly forearmM: number;
  /** Wrist to the tip of the middle finger. */
  readonly handM: number;
}

/** 1 for a right arm, −1 for a left one. */
export type Side = 1 | -1;

/** Distance from shoulder to wrist at an elbow angle (180° is straight). */
export function reachM(arm: ArmLengths, elbowRad: number): number {
  const { upperArmM: a, forearmM: b } = arm;
  return Math.sqrt(a * a + b * b - 2 * a * b * Math.cos(elbowRad));
}

/** Elbow angle for a distance from shoulder to wrist within reach. */
export function elbowAngleRad(arm: ArmLengths, distanceM: number): number {
  const { upperArmM: a, forearmM: b } = arm;
  return Math.acos(Math.min(1, Math.max(-1, (a * a + b * b - distanceM * distanceM) / (2 * a * b))));
}

/**
 * Shoulder that an arm needs to have its wrist where it is: the body leans after the hand as the reach ends, smoothly, from
 * 92 % of the arm's length on (later where the hand hangs), and keeps back from a hand that comes close at the height of the shoulder.
 *
 * @param forward level unit vector to the trunk's front.
 * @param hanging 1 for an arm that hangs, 0 for one that does something.
 */
export function leanToReach(arm: ArmLengths, shoulderM: Vec3, wristM: Vec3, forward: Vec3, hanging = 0): Vec3 {
  const full = arm.upperArmM + arm.forearmM;
  const before = subtract(wristM, shoulderM);
  const off = (Math.abs(before[2]) / full - 0.25) / 0.4;
  const keepM = 0.44 * full * (1 - smoothStep(off));
  const blendM = 0.03 * full;
  const over = (keepM - dot(before, forward)) / blendM;
  const backM = keepM > 0 ? (keepM / (0.44 * full)) * blendM * (over > 30 ? over : Math.log1p(Math.exp(over))) : 0;
  const kept = addScaled(shoulderM, forward, -backM);
  const way = subtract(wristM, kept);
  const distance = norm(way);
  // A hand that hangs needs no body to lean after it: the arm comes nearly straight.
  const from = 0.92 + hanging * (hangEase[0] - 0.92);
  const to = 0.995 + hanging * (hangEase[1] - 0.995);
  const wanted = eased(distance / full, from, to) * full;
  return wanted === distance ? kept : addScaled(wristM, way, -wanted / distance);
}

/** Shares of the arm's length between which a hanging arm's reach is eased. */
const hangEase = [0.97, 0.998] as const;

/** Distance from shoulder to wrist that has to be asked of a hanging arm so that the leaning body leaves `distanceM` of it. */
export function hangReachAskedM(arm: ArmLengths, distanceM: number): number {
  const full = arm.upperArmM + arm.forearmM;
  const [from, to] = hangEase;
  const share = Math.min(to - 1e-4, distanceM / full);
  return (share <= from ? share : from + (to - from) * Math.atanh((share - from) / (to - from))) * full;
}

/** From 0 to 1 over 0 to 1, twice continuously differentiable. */
export function smoothStep(u: number): number {
  const x = Math.min(1, Math.max(0, u));
  return x * x * x * (10 - 15 * x + 6 * x * x);
}

/** x up to `from`, then bending to stay below `to`; twice continuously differentiable. */
export function eased(x: number, from: number, to: number): number {
  return x <= from ? x : from + (to - from) * Math.tanh((x - from) / (to - from));
}

/**
 * Elbow of an arm. With no swivel it lies in the upright plane through shoulder and wrist, below and in front of a raised
 * hand, behind a lowered one; swivel turns it outward.
 *
 * @param forwardYawRad heading of the trunk.
 */
export function placeElbow(
  arm: ArmLengths,
  side: Side,
  shoulderM: Vec3,
  wristM: Vec3,
  swivelRad: number,
  forwardYawRad: number,
): { elbowM: Vec3; outward: Vec3 } {
  const way = subtract(wristM, shoulderM);
  const distance = norm(way);
  const n = scale(way, 1 / distance);
  const { upperArmM: a, forearmM: b } = arm;
  const along = (a * a - b * b + distance * distance) / (2 * distance);
  const off = Math.sqrt(Math.max(1e-8, a * a - along * along));
  // Upright plane of the trunk's heading: its left axis, turned a little so that a hand straight to the side is no pole.
  const left: Vec3 = [-Math.sin(forwardYawRad), Math.cos(forwardYawRad), -0.25 * side];
  const inPlane = unitOr(cross(left, n), [0, 0, -1]);
  const outside = scale(cross(inPlane, n), side);
  const toElbow = add(scale(inPlane, Math.cos(swivelRad)), scale(outside, Math.sin(swivelRad)));
  const elbowM = add(addScaled(shoulderM, n, along), scale(toElbow, off));
  // Normal of the arm's plane, to the outside of the body.
  return { elbowM, outward: scale(cross(toElbow, n), side) };
}

/**
 * Attitude of the lower forearm.
 *
 * @param outward unit vector across the forearm, to where the back of a hand with its thumb up would look.
 * @param pronationRad 0 thumb up, 90° palm down.
 */
export function forearmAttitude(forearm: Vec3, outward: Vec3, side: Side, pronationRad: number): Quat {
  const z0 = unitOr(addScaled(outward, forearm, -dot(outward, forearm)), [0, 0, 1]);
  const third = cross(forearm, z0);
  const angle = -side * pronationRad;
  const z = add(scale(z0, Math.cos(angle)), scale(third, Math.sin(angle)));
  return quatFromAxes(forearm, cross(z, forearm), z);
}

/**
 * Attitude of the lower forearm that a given hand needs, so that only flexion and deviation lie between them.
 *
 * @param handY the hand's y axis.
 */
export function forearmUnderHand(forearm: Vec3, handY: Vec3): Quat {
  const z = unitOr(cross(forearm, handY), [0, 0, 1]);
  return quatFromAxes(forearm, cross(z, forearm), z);
}

/** Rotation whose columns are three unit axes (Shepperd 1978, J. Guidance and Control 1:223). */
export function quatFromAxes(x: Vec3, y: Vec3, z: Vec3): Quat {
  const trace = x[0] + y[1] + z[2];
  if (trace > x[0] && trace > y[1] && trace > z[2]) {
    const s = Math.sqrt(1 + trace) * 2;
    return [s / 4, (y[2] - z[1]) / s, (z[0] - x[2]) / s, (x[1] - y[0]) / s];
  }
  if (x[0] >= y[1] && x[0] >= z[2]) {
    const s = Math.sqrt(1 + x[0] - y[1] - z[2]) * 2;
    return [(y[2] - z[1]) / s, s / 4, (y[0] + x[1]) / s, (z[0] + x[2]) / s];
  }
  if (y[1] >= z[2]) {
    const s = Math.sqrt(1 + y[1] - x[0] - z[2]) * 2;
    return [(z[0] - x[2]) / s, (y[0] + x[1]) / s, s / 4, (z[1] + y[2]) / s];
  }
  const s = Math.sqrt(1 + z[2] - x[0] - y[1]) * 2;
  return [(x[1] - y[0]) / s, (z[0] + x[2]) / s, (z[1] + y[2]) / s, s / 4];
}
