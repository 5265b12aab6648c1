import { add, cross, dot, scale, subtract, type Vec3 } from '../../signal/vec3.ts';
import type { ArmMount } from '../shot.ts';
import type { Motion } from './path-motion.ts';
import type { Strapdown } from './strapdown.ts';

/** From the sensor to the wrist along the long axis, toward the fingers, m: two fingers above it, or the middle of the hand's back. */
const toWristM = { forearm: 0.045, 'back-of-hand': -0.055 } as const;
/** How far that may be off, m. */
export const leverSdM = 0.02;

/** @returns lever from the sensor to the wrist in the sensor's axes, null where the place or the long axis is not known. */
export function wristLever(place: ArmMount | null, longAxis: Vec3 | null): Vec3 | null {
  return place && longAxis ? scale(longAxis, toWristM[place]) : null;
}

/** @returns the motion of the wrist, of a sensor that sits a lever away from it and turns with the arm. */
export function atWrist(path: Strapdown, motion: Motion, lever: Vec3 | null): Motion {
  if (!lever) return motion;
  const { up } = motion;
  const offset = (i: number): Vec3 => motion.turned(i, lever);
  const start = offset(path.reference);
  const positionM = (i: number): Vec3 => add(motion.positionM(i), subtract(offset(i), start));
  const velocityMps = (i: number): Vec3 => add(motion.velocityMps(i), cross(path.rateRadps(i), offset(i)));
  return {
    up,
    positionM,
    velocityMps,
    heightM: (i) => dot(positionM(i), up),
    riseMps: (i) => dot(velocityMps(i), up),
    direction: (i, axis) => motion.direction(i, axis),
    turned: (i, v) => motion.turned(i, v),
    accelerationMps2: (i) => motion.accelerationMps2(i),
  };
}
