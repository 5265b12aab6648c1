import { dot, norm } from '../../signal/vec3.ts';
import type { Instant } from './release.ts';
import type { Motion, Strapdown } from './strapdown.ts';

const stillRadps = (60 * Math.PI) / 180;

/**
 * End of the follow-through: the arm has been slower than 60 °/s after the snap and is faster again on its way down.
 *
 * @returns null when it never became slow, or the samples end before.
 */
export function findFollowThrough(path: Strapdown, motion: Motion, releaseS: number): Instant | null {
  let still = false;
  for (let i = 1; i < path.block.length; i++) {
    if (path.timeOf(i) <= releaseS) continue;
    const rate = norm(path.rateInSensor(i));
    if (rate < stillRadps) still = true;
    else if (still && dot(motion.velocityMps(i), motion.up) < 0) {
      const before = norm(path.rateInSensor(i - 1));
      const share = before < stillRadps ? (stillRadps - before) / (rate - before) : 1;
      const stepS = path.timeOf(i) - path.timeOf(i - 1);
      return { timeS: path.timeOf(i - 1) + share * stepS, errorS: 0.03 };
    }
  }
  return null;
}
