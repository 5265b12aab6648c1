import type { Vec3 } from '../../signal/vec3.ts';
import { dot, norm, unit } from '../../signal/vec3.ts';
import type { MountShot } from './mount-evidence.ts';

/** Motion about a shot in the sensor's own axes, sample by sample. */
export interface SensorMotion {
  readonly length: number;
  readonly timeS: (i: number) => number;
  /** Angular rate, bias taken out, rad/s. */
  readonly rateRadps: (i: number) => Vec3;
  /** Unit vector up. */
  readonly up: (i: number) => Vec3;
}

const aroundS = 0.2;

/**
 * What a shot says of the mount.
 *
 * @param releaseS time of release on the motion's clock.
 * @param holdS a time at which the follow-through is held, or null.
 * @returns null where the window does not reach 0.2 s to both sides of release.
 */
export function readMountShot(motion: SensorMotion, releaseS: number, holdS: number | null): MountShot | null {
  const first = motion.timeS(0);
  const last = motion.timeS(motion.length - 1);
  if (motion.length < 3 || first > releaseS - aroundS || last < releaseS + aroundS) return null;
  const sampleAt = (timeS: number): number => {
    let i = 0;
    while (i < motion.length - 1 && motion.timeS(i + 1) <= timeS) i++;
    return i;
  };
  const at = sampleAt(releaseS);
  const rate = motion.rateRadps(at);
  if (!(norm(rate) > 0)) return null;
  const axis = unit(rate);
  let forwardTurnRad = 0;
  for (let i = sampleAt(releaseS - aroundS); i < sampleAt(releaseS + aroundS); i++) {
    const mean = (dot(motion.rateRadps(i), axis) + dot(motion.rateRadps(i + 1), axis)) / 2;
    forwardTurnRad += mean * (motion.timeS(i + 1) - motion.timeS(i));
  }
  return {
    rateInSensorRadps: rate,
    forwardTurnRad,
    upAtRelease: motion.up(at),
    upAtHold: holdS === null || holdS > last ? null : motion.up(sampleAt(holdS)),
  };
}
