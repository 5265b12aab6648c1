import { type Measured, measured } from '../../foundation/measured.ts';
import type { DoubtfulLift } from './lift-doubt.ts';
import type { DoubtfulPath } from './path-doubt.ts';
import { doubtPause } from './pause-doubt.ts';
import type { Instant } from './release.ts';
import type { SnapPeak } from './snap-peak.ts';
import { errorOf, quantileOf, type Way } from './ways.ts';
import { Instantaneous, type Instants, pauseSpeedMps } from './wrist-numbers.ts';

const normal90 = 1.6448536269514722;
/** Ends of an interval this near to where the error puts them say nothing more, as a share of how far they are. */
const sameEnds = 0.2;

/** @returns a number whose interval is told where it is not what the error says already. */
function lopsided(value: number, errorOne: number, low: number, high: number): Measured {
  const half = normal90 * errorOne;
  const same = Math.abs(value - low - half) < sameEnds * half && Math.abs(high - value - half) < sameEnds * half;
  return measured(value, errorOne, same ? {} : { interval90: [low, high] });
}

const degrees = 180 / Math.PI;

/**
 * The pause over all that its speed may be.
 *
 * @param endsS standard deviation of its ends.
 */
export function pauseOf(wrist: DoubtfulPath, { pickupS, releaseS }: Instants, endsS: number): Measured {
  const between = new Instantaneous(wrist.path);
  const from = between.sampleAt(pickupS ?? releaseS);
  const { pauseS, errorS, interval90 } = doubtPause(wrist, from, between.sampleAt(releaseS), pauseSpeedMps);
  const more = normal90 * endsS;
  const low = Math.max(0, pauseS - Math.hypot(pauseS - interval90[0], more));
  const high = pauseS + Math.hypot(interval90[1] - pauseS, more);
  return measured(pauseS, Math.hypot(errorS, endsS), { interval90: [low, high] });
}

/** The time from an instant that may have been elsewhere to the release. */
export function sinceOf(fromS: number, ways: readonly Way[], release: Instant): Measured {
  const first = (probability: number): number => release.timeS - quantileOf(ways, probability, release.errorS);
  const value = release.timeS - fromS;
  const low = Math.min(value, first(0.95));
  return lopsided(value, Math.hypot(errorOf(ways, fromS), release.errorS), low, Math.max(value, first(0.05)));
}

/** The peak, with an interval that reaches up to one that lay between two samples: half of a normal distribution has its 90 % further out. */
export function snapOf({ rateRadps, errorRadps, missedRadps }: SnapPeak): Measured {
  const ownRadps = Math.hypot(0.01 * rateRadps, errorRadps);
  const low = rateRadps - normal90 * ownRadps;
  const high = rateRadps + normal90 * Math.hypot(ownRadps, upward * missedRadps);
  return lopsided(rateRadps * degrees, Math.hypot(ownRadps, missedRadps) * degrees, low * degrees, high * degrees);
}

const upward = 1.5;

/** @param ownM standard deviation besides, by the time of the pickup and the place of the sensor. */
export function dipOf({ dipM, errorM, interval90 }: DoubtfulLift['dip'], ownM: number): Measured {
  const more = normal90 * ownM;
  const low = dipM - Math.hypot(Math.max(0, dipM - interval90[0]), more);
  const high = dipM + Math.hypot(Math.max(0, interval90[1] - dipM), more);
  return lopsided(dipM, Math.hypot(errorM, ownM), low, high);
}
