import { type DoubtfulPath, speedDoubtMps, unseenSpeedMps, wildSteps } from './path-doubt.ts';
import { gatherWays, type Way } from './ways.ts';
import { Instantaneous } from './wrist-numbers.ts';

/** The lift and the dip before it, over all that pickup and speed may be. */
export interface DoubtfulLift {
  readonly liftS: number;
  /** When the lift may have begun, the likeliest first. */
  readonly ways: readonly Way[];
  readonly dip: { readonly dipM: number; readonly errorM: number; readonly interval90: readonly [number, number] };
}

/** Height that skin and strap add at the end of a low, m, and the least they do to its time, s. */
const skin = { levelM: 0.004, leastS: 0.006 } as const;

/**
 * The lift begins at the last instant near the lowest height after the pickup. Where the hand is low twice, or another moment may have been the pickup,
 * a little decides which low is the lowest: so it is read at every pickup that is likely, and at every error that the speed may have, the
 * same one all along, which tilts the heights. Told is the likeliest, with an error that knows of the others.
 *
 * @param pickups when the ball may have been picked up, one of them not held at least; shares that sum to 1.
 * @param pickupS the one that is told; the lift that is told is no earlier.
 * @param toleranceM height within which the lift counts as begun not yet.
 */
export function doubtLift(
  wrist: DoubtfulPath,
  pickups: readonly Way[],
  pickupS: number,
  releaseS: number,
  toleranceM: number,
): DoubtfulLift {
  const { path, motion } = wrist;
  const between = new Instantaneous(path);
  const end = between.sampleAt(releaseS);
  const start = between.sampleAt(Math.min(pickupS, ...pickups.map(({ timeS }) => timeS)));
  const heightM = Float64Array.from({ length: end - start + 1 }, (_, k) => motion.heightM(start + k));
  const timeS = (k: number): number => path.timeOf(start + k);
  const sdMps = speedDoubtMps(wrist, between.sampleAt(pickupS), end, unseenSpeedMps);
  const sinceS = Float64Array.from({ length: heightM.length }, (_, k) => path.timeOf(start + k) - releaseS);
  const last = heightM.length - 1;
  const stepS = last > 0 ? (timeS(last) - timeS(0)) / last : 0.01;
  const lifts: Way[] = [];
  const dips: { readonly dipM: number; readonly share: number }[] = [];
  let [dipM, fromBall] = [0, 0];
  for (const way of pickups) {
    if (way.held) {
      lifts.push(way);
      continue;
    }
    const from = between.sampleAt(way.timeS) - start;
    const share0 = Math.min(1, Math.max(0, (way.timeS - timeS(from)) / stepS));
    for (const { z, share } of wildSteps) {
      const errorMps = z * sdMps;
      const height = (k: number): number => (heightM[k] as number) - errorMps * (sinceS[k] as number);
      const pickupM = height(from) + share0 * (height(Math.min(last, from + 1)) - height(from));
      let lowest = Math.min(pickupM, height(last));
      for (let k = from + 1; k <= last; k++) lowest = Math.min(lowest, height(k));
      // From the release back: where it is first as low as the lift, and a little more and a little less.
      const firmM = lowest + Math.max(0, toleranceM - skin.levelM);
      let k = last;
      const downTo = (limitM: number): number => {
        while (k > from && height(k) > limitM) k--;
        return k > from ? timeS(k) : way.timeS;
      };
      const laterS = downTo(lowest + toleranceM + skin.levelM);
      const liftS = downTo(lowest + toleranceM);
      const at = k;
      const soonerS = downTo(firmM);
      const atPickup = liftS === way.timeS ? way.sdS : 0;
      const sdS = Math.hypot((laterS - soonerS) / 2, 0.5 * stepS, skin.leastS, atPickup);
      lifts.push({ timeS: liftS, share: way.share * share, sdS, held: false });
      const dip = pickupM - (liftS === way.timeS ? pickupM : height(at));
      dips.push({ dipM: dip, share: way.share * share });
      if (z === 0) {
        dipM += way.share * dip;
        fromBall += way.share;
      }
    }
  }
  const ways = gatherWays(lifts);
  const liftS = Math.max(pickupS, ways.find(({ timeS }) => timeS >= pickupS - skin.leastS)?.timeS ?? pickupS);
  dipM /= fromBall;
  const square = dips.reduce((sum, one) => sum + (one.share / fromBall) * (one.dipM - dipM) ** 2, 0);
  dips.sort((a, b) => a.dipM - b.dipM);
  const quantile = (share: number): number => {
    let below = 0;
    for (const one of dips) {
      below += one.share / fromBall;
      if (below >= share) return one.dipM;
    }
    return dipM;
  };
  return { liftS, ways, dip: { dipM, errorM: Math.sqrt(square), interval90: [quantile(0.05), quantile(0.95)] } };
}
