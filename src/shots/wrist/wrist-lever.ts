import { add, cross, scale, type Vec3 } from '../../signal/vec3.ts';
import type { ArmMount } from '../shot.ts';
import type { Motion, Strapdown } from './strapdown.ts';

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
  const offset = (i: number): Vec3 => motion.turned(i, lever);
  const start = offset(path.reference);
  return {
    ...motion,
    positionM: (i) => add(motion.positionM(i), add(offset(i), scale(start, -1))),
    velocityMps: (i) => add(motion.velocityMps(i), cross(path.rateRadps(i), offset(i))),
  };
}
