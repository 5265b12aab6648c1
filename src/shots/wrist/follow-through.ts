import { norm } from '../../signal/vec3.ts';
import type { Instant } from './release.ts';
import type { Strapdown } from './strapdown.ts';

const stillRadps = (60 * Math.PI) / 180;
/** A lowered arm turns at least this far in one go; a tremble or the jolt of a landing does not. */
const lowerRad = 0.45;

/**
 * End of the follow-through: after the snap the arm has been slower than 60 °/s, and is faster again on its way down.
 *
 * @returns null when it never became slow, or the samples end before it is lowered.
 */
export function findFollowThrough(path: Strapdown, releaseS: number): Instant | null {
  const rate = (i: number): number => norm(path.rateInSensor(i));
  const n = path.block.length;
  let i = 1;
  while (i < n && (path.timeOf(i) <= releaseS || rate(i) >= stillRadps)) i++;
  for (; i < n; i++) {
    if (rate(i) < stillRadps) continue;
    let turned = 0;
    let to = i;
    for (; to < n && rate(to) >= stillRadps && turned < lowerRad; to++) {
      turned += rate(to) * (path.timeOf(to) - path.timeOf(to - 1));
    }
    if (turned < lowerRad) {
      i = to;
      continue;
    }
    const [before, after] = [rate(i - 1), rate(i)];
    const stepS = path.timeOf(i) - path.timeOf(i - 1);
    const share = before < stillRadps ? (stillRadps - before) / (after - before) : 1;
    // How early 60 °/s are passed hangs on how briskly the arm is lowered, and on the strap.
    const briskRadps2 = Math.max(1, (after - before) / Math.max(stepS, 1e-3));
    return { timeS: path.timeOf(i - 1) + share * stepS, errorS: Math.hypot(0.02, 0.2 / briskRadps2) };
  }
  return null;
}
