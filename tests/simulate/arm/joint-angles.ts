import type { ArmTrace } from '../../../src/simulate/arm/arm-motion.ts';
import { quatAt, row } from '../../../src/simulate/arm/arm-motion.ts';
import {
  add,
  conjugate,
  cross,
  dot,
  multiplyQuat,
  norm,
  type Quat,
  rotate,
  scale,
  subtract,
  type Vec3,
} from '../../../src/simulate/vectors.ts';

const degreesPerRadian = 180 / Math.PI;

export interface JointAngles {
  /** 180 is straight. */
  readonly elbowDeg: number;
  /** Toward the palm positive. */
  readonly flexionDeg: number;
  /** Toward the hand's y axis: the thumb of a right hand. */
  readonly deviationDeg: number;
}

/** Angles between the bones of one pose, worked out from where they are and how they lie. */
export function jointAngles(trace: ArmTrace, i: number): JointAngles {
  const elbow = row(trace.elbowM, i);
  const up = subtract(row(trace.shoulderM, i), elbow);
  const down = subtract(row(trace.wristM, i), elbow);
  const between = multiplyQuat(conjugate(quatAt(trace.forearm, i)), quatAt(trace.hand, i));
  const y = rotate(between, [0, 1, 0]);
  const deviation = Math.atan2(-y[0], y[1]);
  const x = rotate(between, [1, 0, 0]);
  const flexion = Math.atan2(-x[2], Math.cos(deviation) * x[0] + Math.sin(deviation) * x[1]);
  return {
    elbowDeg: Math.atan2(norm(cross(up, down)), dot(up, down)) * degreesPerRadian,
    flexionDeg: flexion * degreesPerRadian,
    deviationDeg: deviation * degreesPerRadian,
  };
}

/** Angular velocity in the room between two attitudes `apartS` apart, rad/s. */
export function rateBetween(from: Quat, to: Quat, apartS: number): Vec3 {
  const d = multiplyQuat(to, conjugate(from));
  const size = Math.hypot(d[1], d[2], d[3]);
  if (size === 0) return [0, 0, 0];
  const angle = 2 * Math.atan2(size, Math.abs(d[0])) * (d[0] < 0 ? -1 : 1);
  return scale([d[1], d[2], d[3]], angle / size / apartS);
}

export function secondDifference(before: Vec3, at: Vec3, after: Vec3, stepS: number): Vec3 {
  return scale(add(subtract(before, at), subtract(after, at)), 1 / (stepS * stepS));
}
