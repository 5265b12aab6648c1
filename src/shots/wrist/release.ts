import { dot, unit, type Vec3 } from '../../signal/vec3.ts';
import type { Movement } from './movement.ts';
import type { Motion, Strapdown } from './strapdown.ts';

/** An instant with its standard error, s. */
export interface Instant {
  readonly timeS: number;
  readonly errorS: number;
}

/**
 * Release: the hand feels the ball's reaction as long as it pushes. A ball that is free falls with gravity, so contact ends
 * where the specific force of the hand along its own travel is down to nothing.
 */
export function estimateRelease(path: Strapdown, motion: Motion, movement: Movement): Instant {
  const { snap, fastest } = movement;
  const n = path.block.length;
  const ahead: Vec3 = unit(motion.velocityMps(fastest));
  const push = (i: number): number => dot(motion.accelerationMps2(i), ahead) + 9.80665 * dot(motion.up, ahead);
  let peak = fastest;
  for (let i = fastest; i > 0 && path.timeOf(fastest) - path.timeOf(i) < 0.2; i--) if (push(i) > push(peak)) peak = i;
  for (let i = peak + 1; i < n && path.timeOf(i) < path.timeOf(snap) + 0.1; i++) {
    const [a, b] = [push(i - 1), push(i)];
    if (b <= 0) {
      const share = a / (a - b);
      return { timeS: path.timeOf(i - 1) + share * (path.timeOf(i) - path.timeOf(i - 1)), errorS: 0.012 };
    }
  }
  return { timeS: path.timeOf(snap), errorS: 0.03 };
}
