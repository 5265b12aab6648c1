import { type DoubtfulPath, doubtSteps, speedDoubtMps, unseenDriftMps } from './path-doubt.ts';
import { gatherWays, type Way } from './ways.ts';
import type { WristParams } from './wrist-params.ts';

const restMps = 0.1;
/** By how much the height of a rest against that at release may be off, m: skin, strap, and a wrist that is not the ball. */
const restHeightM = 0.05;
/** What is not known of the speed is looked at where the lift may begin, s before release. */
const liftS = 1.5;
/** Moments less likely than this are not looked for. */
const leastLikely = 0.001;

/** When the clock of a held ball may have started, the likeliest first; and how likely there was no such moment. */
export interface HeldStart {
  readonly ways: readonly Way[];
  readonly none: number;
}

/**
 * The clock of a held ball starts at the last low moment without rise or fall. Where a hand hardly rises, or comes to rest near the limit of what is
 * low, an error of its speed decides which moment that is: so all are looked at that the speed leaves open.
 *
 * @param end last sample before release.
 */
export function findHeldStart(wrist: DoubtfulPath, end: number, params: WristParams): HeldStart {
  const { path, motion } = wrist;
  const endS = path.timeOf(end);
  let from = end;
  while (from > 0 && endS - path.timeOf(from) < liftS) from--;
  const sdMps = speedDoubtMps(wrist, from, end, unseenDriftMps);
  const riseMps = Float64Array.from({ length: end + 1 }, (_, i) => motion.riseMps(i));
  const belowM = Float64Array.from({ length: end + 1 }, (_, i) => motion.heightM(end) - motion.heightM(i));
  const rests: Way[] = [];
  let nowhere = 0;
  for (const { z, share } of doubtSteps) {
    const errorMps = z * sdMps;
    let none = share;
    let rested = false;
    for (let i = end; i >= 0 && none > leastLikely * share; i--) {
      const rest = Math.abs((riseMps[i] as number) - errorMps) < restMps;
      if (rest && !rested) {
        const below = (belowM[i] as number) - errorMps * (endS - path.timeOf(i));
        const own = 1 / (1 + Math.exp((-1.7 * (below - params.lowM)) / restHeightM));
        rests.push({ timeS: path.timeOf(i), share: own * none, sdS: params.restSpreadS, held: true });
        none *= 1 - own;
      }
      rested = rest;
    }
    nowhere += none;
  }
  return { ways: gatherWays(rests), none: nowhere };
}
