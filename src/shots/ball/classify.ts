import type { ContactKind, RejectedFlight } from '../shot.ts';

/** Expected height of the ring above the ball's centre at release, m. */
export interface RingExpectation {
  readonly meanM: number;
  readonly standardDeviationM: number;
}

/** What decides whether a flight was a shot. */
export interface FlightFacts {
  readonly flightS: number;
  readonly speedMps: number;
  /** One sigma of it. */
  readonly speedDoubtMps: number;
  readonly launchAngleRad: number;
  readonly apexM: number;
  /** Height above release and vertical speed at the end of the flight; null where the end was not seen. */
  readonly endHeightM: number | null;
  readonly endRiseMps: number | null;
  readonly endAwayM: number | null;
  readonly contactKind: ContactKind;
  /** The touch was too hard for a hand, or the ball was free again soon after. */
  readonly noHand: boolean;
  /** The touch was too hard for a hand. */
  readonly hard: boolean;
  /** Height the arc would still reach on the way down where no end was seen: it passes the ring's height falling. */
  readonly passesRing: boolean;
}

export type FlightVerdict =
  | { readonly shot: true }
  | { readonly shot: false; readonly kind: RejectedFlight['kind']; readonly reason: string };

/** Least rise above release and least launch speed of a shot at a ring 3.05 m high. */
export const leastRiseM = 0.5;
const leastSpeedMps = 4;
/** What left slower but met iron or wood this near, m, was laid up from beside the ring; to rise at all it had this speed, m/s. */
const laidUp = { withinM: 1.6, leastSpeedMps: 3, leastAwayM: 0.55 } as const;
/** A ring 0.45 m wide lets a ball of 0.24 m pass from 32° on; what leaves much flatter was meant for somebody's hands, rad. */
const flattestRad = (27 * Math.PI) / 180;
/**
 * What met the ball softly and more level than this was no net: a ring is as narrow as that, less two degrees of error, rad. Iron and
 * board are met at any angle.
 */
const flattestEntryRad = (30 * Math.PI) / 180;
/** A ball thrown straight up is no shot even where it meets something up there. */
const leastAwayM = 0.8;
/** The flight of a shot ends within this band about the ring's height. */
const band = { belowM: 0.3, hardBelowM: 0.6, aboveM: 1 } as const;

/** Where what followed a touch was not seen, it has to lie within the band by this share of that height's doubt. */
const unseenSlack = 0.5;

/** Decides by where the flight went, not by the look of the signal. */
export function judgeFlight(facts: FlightFacts, ring: RingExpectation, hoopHeightM: number): FlightVerdict {
  const no = (kind: RejectedFlight['kind'], reason: string): FlightVerdict => ({ shot: false, kind, reason });
  const iron = facts.hard && facts.noHand && (facts.contactKind === 'ring' || facts.contactKind === 'board');
  const near = iron && (facts.endAwayM ?? Number.POSITIVE_INFINITY) < laidUp.withinM;
  const speedLimit = (near ? laidUp.leastSpeedMps : leastSpeedMps) * Math.sqrt(hoopHeightM / 3.05);
  const away = facts.endAwayM ?? 0;
  const travelled = away > 1.5 ? 'pass' : 'toss';
  if (facts.apexM < leastRiseM) {
    if (facts.apexM < 0.05 && away < 1)
      return no('drop', `the ball rose ${facts.apexM.toFixed(2)} m above release: dropped or thrown down`);
    return no('pass', `the ball rose ${facts.apexM.toFixed(2)} m above release, a shot rises at least ${leastRiseM} m`);
  }
  if (facts.speedMps + facts.speedDoubtMps < speedLimit) {
    return no(
      travelled,
      `the ball left at ${facts.speedMps.toFixed(1)} m/s, a shot leaves at ${speedLimit.toFixed(1)} m/s or more`,
    );
  }
  if (facts.launchAngleRad < flattestRad) {
    const told = ((facts.launchAngleRad * 180) / Math.PI).toFixed(0);
    return no('pass', `the ball left at ${told}°: so flat it cannot fall into a ring`);
  }
  const awayLimit = near ? laidUp.leastAwayM : leastAwayM;
  if (away + facts.speedDoubtMps * facts.flightS < awayLimit)
    return no('toss', `the ball went ${away.toFixed(1)} m along the floor, a shot goes ${awayLimit} m at least`);
  if (facts.endHeightM === null || facts.endRiseMps === null) {
    return facts.passesRing
      ? { shot: true }
      : no('undecided', 'the end of the flight was not seen and its arc does not reach the ring');
  }
  const entryRad = Math.atan2(-facts.endRiseMps, facts.speedMps * Math.cos(facts.launchAngleRad));
  const soft = !facts.hard && !['floor', 'ring', 'board'].includes(facts.contactKind);
  if (soft && entryRad < flattestEntryRad) {
    const told = ((entryRad * 180) / Math.PI).toFixed(0);
    return no(travelled, `the ball was met softly on a way ${told}° downward: so flat it cannot fall into a ring`);
  }
  const above = facts.endHeightM - ring.meanM;
  const slack = ring.standardDeviationM;
  const surelyInBand = above > -band.belowM + unseenSlack * slack && above < band.aboveM - slack;
  // How high hands were nobody knows: a pass leaves lower than a shot, and hardly anyone reaches up to the ring.
  if (facts.contactKind === 'hands') {
    return no(travelled, `the flight ended in hands ${facts.endHeightM.toFixed(2)} m above release`);
  }
  // Board, bracket and net hang lower than the ring, and nothing else up there is hard or lets the ball go again.
  const belowM = facts.noHand ? band.hardBelowM : band.belowM;
  const inBand = above > -belowM - slack && above < band.aboveM + slack;
  if (inBand && facts.endRiseMps < 0.5 && (facts.noHand || surelyInBand)) return { shot: true };
  if (facts.contactKind === 'floor' && facts.apexM > ring.meanM - band.belowM) {
    return { shot: true };
  }
  if (facts.contactKind === 'floor')
    return no(travelled, 'the ball fell to the floor without coming near the height of a ring');
  return no(
    travelled,
    `the flight ended ${facts.endHeightM.toFixed(2)} m above release, away from the height of a ring`,
  );
}
