import { standardGravityMps2 } from '../../foundation/constants.ts';
import { conjugate, multiply } from '../../signal/rotation.ts';
import { dot, norm, type Vec3, vecAt } from '../../signal/vec3.ts';
import { findImpacts } from './impacts.ts';
import type { Motion } from './path-motion.ts';
import type { Instant } from './release.ts';
import type { Strapdown } from './strapdown.ts';
import type { WristParams } from './wrist-params.ts';

const look = { fromS: 0.06, toS: 0.8, freeS: 0.04 } as const;
/** An arm held still in the air feels far less than half of gravity, in a body that turns there up to three quarters of it. */
const freeMps2 = 7;

/** A jump as the arm feels it. */
export interface Jump {
  readonly takeOff: Instant;
  readonly landing: Instant;
}

/**
 * Landing: the first blow after a stretch in which arm and body fell freely together. The body had left the floor as fast as
 * it comes back, which gives the time of take-off.
 *
 * @returns null where no landing shows.
 */
export function findJump(path: Strapdown, motion: Motion, releaseS: number, params: WristParams): Jump | null {
  const { block } = path;
  const free = (i: number): boolean => norm(vecAt(block.accelMps2, i)) < freeMps2;
  for (const impact of findImpacts(block, params)) {
    const atS = path.timeOf(impact.start);
    if (atS < releaseS + look.fromS || atS > releaseS + look.toS) continue;
    let from = impact.start - 1;
    // The blow's own beginning is no free fall any more.
    while (from > 0 && !free(from) && atS - path.timeOf(from) < 0.02) from--;
    const to = from;
    while (from > 0 && free(from)) from--;
    if (path.timeOf(to) - path.timeOf(from) < look.freeS) continue;
    const downMps = -dot(motion.velocityMps(to), motion.up);
    if (!(downMps > 0.2)) continue;
    const airS = (2 * downMps) / standardGravityMps2;
    return { landing: { timeS: atS, errorS: 0.01 }, takeOff: { timeS: atS - airS, errorS: 0.04 } };
  }
  return null;
}

/** @returns turn about the vertical in the rotation from one sample to another, rad, positive to the left. */
export function twistBetween(path: Strapdown, up: Vec3, from: number, to: number): number {
  const turn = multiply(path.quaternion(to), conjugate(path.quaternion(from)));
  const angle = 2 * Math.atan2(turn[1] * up[0] + turn[2] * up[1] + turn[3] * up[2], turn[0]);
  return angle > Math.PI ? angle - 2 * Math.PI : angle < -Math.PI ? angle + 2 * Math.PI : angle;
}
