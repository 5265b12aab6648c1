// A little longer than most: every measure with each of its reasons for null stands here side by side.
import { leastSpeedMps } from '../../flight/arc.ts';
import { airOf } from '../../flight/flight-model.ts';
import { normal90, standardGravityMps2 } from '../../foundation/constants.ts';
import {
  type Measured,
  type MeasuredValue,
  measured,
  type NullReason,
  notMeasured,
} from '../../foundation/measured.ts';
import type { Gaussian } from '../../signal/gaussian.ts';
import { norm, vecAt } from '../../signal/vec3.ts';
import {
  type BallMeasureName,
  type ContactKind,
  type Shot,
  type ShotTime,
  type StartKind,
  unseenByBall,
} from '../shot.ts';
import type { ArrivalFlight } from './arrival.ts';
import type { FlightContext } from './ball-shot.ts';
import type { RingExpectation } from './classify.ts';
import type { Edge } from './edges.ts';
import type { FlightStudy } from './flight-study.ts';
import type { Impact } from './impact.ts';
import type { PathEstimate, PathStudy } from './path-study.ts';
import type { RingHeight } from './ring-height.ts';
import { jointGyro, type ShotNumberName, type ShotNumbers, type SolutionTask } from './shot-solution.ts';
import type { TouchHardness } from './touch-reading.ts';

/** Everything from which a shot is put together. */
export interface ShotParts {
  readonly index: number;
  readonly stage: 'early' | 'final';
  readonly context: FlightContext;
  readonly study: FlightStudy;
  readonly task: SolutionTask;
  readonly joint: Gaussian;
  readonly numbers: ShotNumbers;
  readonly path: PathStudy;
  readonly variance: Readonly<Record<ShotNumberName, number>>;
  readonly startKind: StartKind;
  readonly arrival: ArrivalFlight | null;
  /** Arrival as used for the phases, also where a gap hides its exact instant. */
  readonly arrivalS: number | null;
  readonly release: Edge | null;
  readonly contact: Edge | null;
  readonly contactKind: ContactKind;
  readonly impact: Impact | null;
  readonly ringHeight: RingHeight | null;
  readonly least: LeastSpeed | null;
  readonly delayS: number;
  /** Whether a still moment before the shot gave gravity's direction. */
  readonly rested: boolean;
}

interface Instant {
  readonly timeS: number | null;
  readonly errorS: number;
  readonly reason: NullReason | null;
}

const degrees = 180 / Math.PI;
const perTurn = 1 / (2 * Math.PI);
/**
 * Release is told at a force of 0.5 m/s²; what the hand still gives below it turns the ball on: 0.5 m/s² at the rim of a
 * hollow sphere (2/3 m R²) is 6 rad/s², half of it over the last few milliseconds of a fade. The spin in flight is faster
 * than that at release by about this much, rad/s.
 */
const lastTouch = { meanRadps: 0.002, spreadRadps: 0.01 } as const;
/** Slower than this the axis of the spin means nothing, rad/s (0.1 rev/s). */
const slowestSpinRadps = 0.2 * Math.PI;
/** One tilt angle is given up to here, degrees. */
const largestTiltDeg = 80;
/** Error beyond which a low rest is not believed, s. */
const doubtfulRestS = 0.25;
/** Error beyond which a lift is not told where the release was lost, s. */
const doubtfulLiftS = 0.1;
/** An early estimate of a time with a larger error than this is not shown, s. */
const earlyTimeErrorS = 0.06;
/** The ball leaves this far in front of the feet, m. Common practice, no source. */
export const forwardOfFeet = { meanM: 0.35, spreadM: 0.15 } as const;
/** An interval whose middle lies this share of its width from the number is told as such. */
const lopsidedShare = 0.12;
/** From this share of possible ways on, the other side is told as possible. */
const eitherSideShare = 0.03;
/** The turn of the ball before the lift is averaged over this, s, as far as it is in the hands. */
const spinBeforeS = 0.1;
/** The early estimate of the tilt is shown up to this error, degrees. */
const earlyTiltErrorDeg = 4;

/** @returns the shot with every number's error or reason, times less the sensor's own delay. */
export function assembleShot(parts: ShotParts): Shot {
  const { numbers, variance, stage, path: way } = parts;
  const early = stage === 'early';
  const sd = (name: ShotNumberName) => Math.sqrt(variance[name]);
  const release = fromEdge(parts.release, 'no-previous-flight');
  const contact: Instant = early
    ? missing('too-early')
    : release.timeS === null
      ? touchInGap(parts)
      : ironInNet(parts, fromEdge(parts.contact, 'no-contact'));
  const pickup = findPickup(parts);
  const lift = findLift(parts, pickup);
  const times: Record<ShotTime, Instant> = { pickup, lift, release, contact };
  const between = (a: Instant, b: Instant): Measured => {
    const reason = a.reason ?? b.reason;
    if (reason || a.timeS === null || b.timeS === null) return notMeasured(reason ?? 'no-contact');
    return measured(b.timeS - a.timeS, Math.hypot(a.errorS, b.errorS));
  };
  const held = parts.startKind === 'hold';
  const since = (start: PathEstimate | null, from: Instant, to: Instant): Measured => {
    const plainly = between(from, to);
    return start === null || plainly.value === null ? plainly : spanSince(start, plainly, to);
  };
  const late = (make: () => Measured): Measured => (early ? notMeasured('too-early') : make());
  const clipped = parts.study.fit.data.rateClipped.some(Boolean);
  const plain = (name: ShotNumberName, factor: number, flags?: readonly string[]): Measured =>
    measured(numbers[name] * factor, sd(name) * factor, flags ? { flags } : {});
  const moving = (name: ShotNumberName, factor: number, perSecond: number): Measured =>
    measured(numbers[name] * factor, Math.hypot(sd(name), perSecond * release.errorS) * factor);
  const path = (make: () => Measured): Measured =>
    late(() => {
      const reason = pickup.reason ?? release.reason;
      return reason ? notMeasured(reason) : make();
    });
  // What is told "at release" needs that instant: through a gap of 25 ms the ball loses 0.25 m/s.
  const atRelease = (make: () => Measured): Measured =>
    late(() => (release.reason ? notMeasured(release.reason) : make()));
  const spin = spinMeasures(parts, plain, clipped);
  const measures: Shot['measures'] = {
    ...unseenByBall,
    pickupToReleaseS: held ? since(way.lowRest, pickup, release) : between(pickup, release),
    liftToReleaseS: since(held ? way.lowRest : way.lift, lift, release),
    pauseS: path(() => lopsided(way.pause, 0.5 * parts.context.stepS)),
    dipDepthM: late(() => {
      if (parts.startKind === 'hold') return notMeasured('no-pickup-event');
      const { dip, pickupRiseMps } = way;
      const reason = pickup.reason ?? lift.reason;
      if (reason) return notMeasured(reason);
      return measured(dip.value, Math.hypot(dip.standardError, pickupRiseMps * pickup.errorS));
    }),
    sidePathM: path(() => sidePath(way)),
    flightS: between(release, contact),
    ...spin,
    // What is told at release moves with its instant: along the path by gravity's share, upward by the rise.
    launchSpeedMps: atRelease(() => moving('launchSpeed', 1, standardGravityMps2 * Math.sin(numbers.launchAngle))),
    launchAngleDeg: atRelease(() =>
      moving(
        'launchAngle',
        degrees,
        (standardGravityMps2 * Math.cos(numbers.launchAngle)) / Math.max(1, numbers.launchSpeed),
      ),
    ),
    entryAngleDeg: late(() => entryAngle(parts, sd('entryAngle'))),
    apexM: atRelease(() => moving('apex', 1, numbers.launchSpeed * Math.sin(numbers.launchAngle))),
    speedMarginMps: atRelease(() => speedMargin(parts, sd('launchSpeed'))),
    contactHardnessMps: late(() => hardness(parts, contact)),
    sidewaysImpulseMps: atRelease(() =>
      measured(numbers.sidewaysImpulse, Math.hypot(sd('sidewaysImpulse'), way.hiddenPushMps)),
    ),
    spinBeforeLiftRps: spinBeforeLift(parts, lift),
  };
  const shown = (instant: Instant) => (instant.timeS === null ? null : instant.timeS - parts.delayS);
  const timeErrorsS = {} as Record<ShotTime, number | null>;
  const timeReasons: Partial<Record<ShotTime, NullReason>> = {};
  for (const name of Object.keys(times) as ShotTime[]) {
    timeErrorsS[name] = times[name].timeS === null ? null : times[name].errorS;
    const reason = times[name].reason;
    if (reason) timeReasons[name] = reason;
  }
  const paused = measures.pauseS.value !== null && way.phases.pauseS > 0;
  return Object.freeze({
    index: parts.index,
    stage,
    startKind: parts.startKind,
    pickupS: shown(pickup),
    liftS: shown(lift),
    releaseS: shown(release),
    contactS: shown(contact),
    timeErrorsS,
    timeReasons,
    contactKind: early ? 'unknown' : parts.contactKind,
    pauseAt: paused ? (way.phases.pauseShare < 0.5 ? 'low' : 'high') : null,
    measures,
  });
}

function missing(reason: NullReason): Instant {
  return { timeS: null, errorS: 0, reason };
}

/** A number read off many possible ways: with their own interval where they lie to one side. */
function lopsided(estimate: PathEstimate, floor: number): Measured {
  const { value, standardError } = estimate;
  const error = Math.hypot(standardError, floor);
  const low = estimate.interval90[0] - normal90 * floor;
  const high = estimate.interval90[1] + normal90 * floor;
  const skew = Math.abs((low + high) / 2 - value) > lopsidedShare * (high - low);
  return measured(value, error, skew ? { interval90: [low, high] } : {});
}

/** A time from an instant read off many possible ways, which may fall into two groups: its interval then holds both. */
function spanSince(start: PathEstimate, plainly: MeasuredValue, { errorS }: Instant): Measured {
  if (!start.twoPeaked) return plainly;
  const { value, standardError } = plainly;
  const endS = normal90 * errorS;
  const low = value - Math.hypot(Math.max(0, start.interval90[1] - start.value), endS);
  const high = value + Math.hypot(Math.max(0, start.value - start.interval90[0]), endS);
  return measured(value, standardError, { interval90: [low, high], flags: ['either-low'] });
}

/** The excursion: a mean over both sides where the path swings out about as far to either. */
function sidePath({ side, otherSideShare }: PathStudy): Measured {
  const { value, standardError, interval90 } = side;
  if (otherSideShare < eitherSideShare) return measured(value, standardError);
  return measured(value, standardError, { interval90, flags: ['either-side'] });
}

function fromEdge(edge: Edge | null, absent: NullReason): Instant {
  if (!edge) return missing(absent);
  if (edge.timeS === null) return missing(edge.reason);
  return { timeS: edge.timeS, errorS: edge.standardErrorS, reason: null };
}

/** Where iron followed a net at once it drowned how the net began to be felt, s. */
const drownedS = 0.002;

function ironInNet({ contactKind, impact }: ShotParts, contact: Instant): Instant {
  const drowned = contactKind === 'net' && impact?.clipped === true;
  return drowned ? { ...contact, errorS: Math.hypot(contact.errorS, drownedS) } : contact;
}

/**
 * The first touch of a shot whose release was not seen: a shot must stand somewhere in time, so where this one fell into a gap, too, it
 * is given as anywhere within.
 */
function touchInGap(parts: ShotParts): Instant {
  const { contact, study } = parts;
  if (contact === null || contact.timeS !== null || contact.reason !== 'gap') return fromEdge(contact, 'no-contact');
  const after = study.around.timeS[contact.outside] as number;
  const before = study.around.timeS[contact.outside - 1] as number;
  return { timeS: (before + after) / 2, errorS: (after - before) / Math.sqrt(12), reason: null };
}

/** From this share of possible ways on that have an event among missing samples it is told as lying there. */
const hiddenShare = 0.8;

function findPickup(parts: ShotParts): Instant {
  if (parts.startKind === 'hold') {
    const { lowRest } = parts.path;
    const lost = parts.release?.timeS === null;
    if (!lowRest) return missing(lost ? 'gap' : 'no-low-rest');
    if (parts.path.hiddenShare.lowRest > hiddenShare) return missing('gap');
    const errorS = Math.hypot(lowRest.standardError, 0.3 * parts.context.stepS);
    if (parts.stage === 'early' && errorS > earlyTimeErrorS) return missing('too-early');
    // A rest that moves this much with the path's own doubt may as well not have been low.
    if (errorS > doubtfulRestS) return missing(lost ? 'gap' : 'no-low-rest');
    return { timeS: lowRest.value, errorS, reason: null };
  }
  return fromEdge(parts.arrival?.end ?? null, 'no-previous-flight');
}

function findLift(parts: ShotParts, pickup: Instant): Instant {
  if (parts.startKind === 'hold') return pickup;
  if (parts.stage === 'early') return missing('too-early');
  if (parts.arrivalS === null) return missing('no-previous-flight');
  const { value, standardError } = parts.path.lift;
  const hidden = parts.path.hiddenShare.lift > hiddenShare;
  if (hidden || (parts.release?.timeS === null && standardError > doubtfulLiftS)) return missing('gap');
  return {
    timeS: value,
    errorS: Math.hypot(standardError, 0.25 * parts.context.stepS),
    reason: null,
  };
}

function spinMeasures(
  parts: ShotParts,
  plain: (name: ShotNumberName, factor: number, flags?: readonly string[]) => Measured,
  clipped: boolean,
): Pick<Record<BallMeasureName, Measured>, 'spinRps' | 'backspinRps' | 'sidespinRps' | 'rifleSpinRps' | 'axisTiltDeg'> {
  const { numbers, stage } = parts;
  const flags = clipped ? ['clipped'] : undefined;
  const { data, referenceS } = parts.study.fit;
  // The fit knows a clipped rate at mid-flight; how much more it was at release rests on the decay of the other axes.
  const sinceRelease = data.decayErrorPerS * (referenceS - parts.task.releaseS);
  const spinRps = measured(
    (numbers.spin - lastTouch.meanRadps) * perTurn,
    Math.hypot(Math.sqrt(parts.variance.spin), lastTouch.spreadRadps, sinceRelease * numbers.spin) * perTurn,
    flags ? { flags } : {},
  );
  const tiltError = Math.sqrt(parts.variance.tilt) * degrees;
  const early = stage === 'early' && !(parts.rested && tiltError < earlyTiltErrorDeg);
  if (early) {
    const none = notMeasured('too-early');
    return { spinRps, backspinRps: none, sidespinRps: none, rifleSpinRps: none, axisTiltDeg: none };
  }
  const tilt = numbers.tilt * degrees;
  const level = Math.hypot(numbers.backspin, numbers.sidespin);
  const reason: NullReason | null =
    level < slowestSpinRadps ? 'spin-too-slow' : Math.abs(tilt) > largestTiltDeg ? 'near-sideways-axis' : null;
  return {
    spinRps,
    backspinRps: measured(
      (numbers.backspin - lastTouch.meanRadps * Math.sign(numbers.backspin)) * perTurn,
      Math.hypot(Math.sqrt(parts.variance.backspin), lastTouch.spreadRadps, sinceRelease * numbers.backspin) * perTurn,
      flags ? { flags } : {},
    ),
    sidespinRps: plain('sidespin', perTurn, flags),
    rifleSpinRps: plain('rifle', perTurn, flags),
    axisTiltDeg: reason ? notMeasured(reason) : plain('tilt', degrees, flags),
  };
}

function entryAngle(parts: ShotParts, error: number): Measured {
  const { ringHeight, numbers } = parts;
  if (!ringHeight) return notMeasured('no-ring-reference');
  if (!Number.isFinite(numbers.entryAngle)) return notMeasured('no-ring-reference');
  // Change of the angle with the height at which it is taken: the ball gains g Δh / v_z downward over Δh.
  const speed2 = Math.max(1, numbers.launchSpeed ** 2 - 2 * 9.8 * ringHeight.meanM);
  const rise = Math.sin(numbers.entryAngle) ** 2 * speed2;
  const perMetre = (9.8 / Math.max(1, Math.sqrt(rise))) * (Math.cos(numbers.entryAngle) / Math.sqrt(speed2));
  const standardError = Math.hypot(error, perMetre * ringHeight.standardDeviationM);
  const { meanM, interval90M } = ringHeight;
  const value = numbers.entryAngle * degrees;
  if (!interval90M) return measured(value, standardError * degrees);
  // A lower ring is met steeper.
  const beside = (heightM: number) => Math.hypot(normal90 * error, perMetre * (heightM - meanM)) * degrees;
  const interval90: readonly [number, number] = [value - beside(interval90M[1]), value + beside(interval90M[0])];
  return measured(value, standardError * degrees, { interval90 });
}

/** The least speed that reaches the ring, and how much more it is one standard deviation farther away or higher up, m/s. */
export interface LeastSpeed {
  readonly at: number;
  readonly farther: number;
  readonly higher: number;
}

/** @returns null where spot or ring are not known, or no speed suffices. */
export function leastSpeed(
  { settings, aero }: FlightContext,
  { fit }: FlightStudy,
  backspinRadps: number,
  ring: RingExpectation | null,
): LeastSpeed | null {
  if (settings.distanceM === null || !ring) return null;
  const air = airOf(fit.state, aero);
  const spotM = settings.distanceM - forwardOfFeet.meanM;
  const least = (distanceM: number, heightM: number) => leastSpeedMps(distanceM, heightM, air, backspinRadps);
  const at = least(spotM, ring.meanM);
  const farther = least(spotM + Math.hypot(0.3, forwardOfFeet.spreadM), ring.meanM);
  const higher = least(spotM, ring.meanM + ring.standardDeviationM);
  if (at === null || farther === null || higher === null) return null;
  return { at, farther: farther - at, higher: higher - at };
}

function speedMargin({ context, least, numbers }: ShotParts, speedError: number): Measured {
  if (context.settings.distanceM === null) return notMeasured('no-distance');
  if (!least) return notMeasured('no-ring-reference');
  return measured(numbers.launchSpeed - least.at, Math.hypot(speedError, least.farther, least.higher));
}

/** What pushes less than this, m/s², before and after a touch for about this long, s, is not summed up with it. */
const belowThreshold = { forceMps2: 1.5, lastsS: 0.02 } as const;
/** A blow, m/s², this soon after a touch, s, may belong to it: net and ring at once, or a graze before the strike. */
const nextBlow = { forceMps2: 20, withinS: 0.02, longestS: 0.1 } as const;

/** @returns impulse per unit mass of a blow that follows right after the first touch, m/s; 0 where none does. */
function blowRightAfter({ study: { around, contact } }: ShotParts, durationS: number): number {
  if (!contact) return 0;
  const endS = (around.timeS[contact.outside] as number) + durationS;
  let sum = 0;
  for (let i = contact.outside + 1; i < around.timeS.length; i++) {
    const sinceS = (around.timeS[i] as number) - endS;
    if (sinceS <= 0) continue;
    const size = around.sizeMps2[i] as number;
    const begun = sum > 0;
    if ((!begun && sinceS > nextBlow.withinS) || sinceS > nextBlow.longestS) break;
    if (size > nextBlow.forceMps2) sum += size * ((around.timeS[i] as number) - (around.timeS[i - 1] as number));
    else if (begun) break;
  }
  return sum;
}

/** Iron that a ball grazes from within a net adds so much to what was seen, m/s. */
const grazedIron = { meanMps: 1.3, spreadMps: 1.2 } as const;

/** How hard a touch beyond the accelerometer's end or between its samples was, by the ball's motion before and after; null where that was not seen. */
function hiddenHardness({ contactKind, impact }: ShotParts): TouchHardness | null {
  if (!impact) return null;
  const { reading, rebound, hardnessMps } = impact;
  if (contactKind === 'floor' && reading?.floor) return reading.floor;
  if (reading && (contactKind === 'ring' || contactKind === 'board')) return reading.hardness;
  if (rebound) return { meanMps: norm(rebound.impulseMps), standardDeviationMps: rebound.standardDeviationMps };
  if (contactKind !== 'net') return null;
  if (!reading) return { meanMps: hardnessMps + grazedIron.meanMps, standardDeviationMps: grazedIron.spreadMps };
  // The ring's part, if it had been all of it.
  const { meanMps, standardDeviationMps } = reading.hardness;
  return { meanMps, standardDeviationMps: Math.hypot(standardDeviationMps, grazedIron.spreadMps) };
}

function hardness(parts: ShotParts, contact: Instant): Measured {
  if (contact.reason) return notMeasured(contact.reason);
  if (!parts.impact) return notMeasured('no-contact');
  const { hardnessMps, peakMps2, clipped, hidden } = parts.impact;
  // A pulse sampled a few times: the sum misses or doubles up to a share of one sample at its peak.
  const sampled = 0.25 * peakMps2 * parts.context.stepS + 0.02 * hardnessMps;
  const again = blowRightAfter(parts, parts.impact.durationS);
  const error = Math.hypot(sampled, belowThreshold.forceMps2 * belowThreshold.lastsS, again / 2);
  if (!clipped && !hidden) return measured(hardnessMps, error);
  const flags = clipped ? ['clipped'] : ['between-samples'];
  // The accelerometer saw a part; the ball's motion before and after tells all of it.
  const all = hiddenHardness(parts);
  if (all) return measured(all.meanMps, all.standardDeviationMps, { flags });
  // No surface gives back more than it got: between what was seen and twice the speed.
  const { around, contact: edge } = parts.study;
  const most = edge ? 2 * norm(vecAt(around.velocityMps, edge.outside)) : 4 * hardnessMps;
  const range = Math.max(most, 1.2 * hardnessMps) - hardnessMps;
  const interval90: readonly [number, number] = [hardnessMps + 0.05 * range, hardnessMps + 0.95 * range];
  return measured(hardnessMps + 0.5 * range, range / Math.sqrt(12), { interval90, flags });
}

function spinBeforeLift(parts: ShotParts, lift: Instant): Measured {
  if (lift.reason || lift.timeS === null) return notMeasured(lift.reason ?? 'gap');
  const { block } = parts.context;
  const gyro = block.gyroRadps;
  if (!gyro) return notMeasured('no-gyro');
  const bias = parts.joint.mean.slice(jointGyro.bias, jointGyro.bias + 3);
  const startS = parts.startKind === 'hold' ? Number.NEGATIVE_INFINITY : (parts.arrivalS ?? Number.NEGATIVE_INFINITY);
  const meanUntil = (untilS: number): number | null => {
    const sinceS = Math.max(untilS - spinBeforeS, startS);
    let sum = 0;
    let count = 0;
    for (let i = parts.task.from; i >= 0 && (block.timeS[i] as number) > sinceS; i--) {
      if ((block.timeS[i] as number) > untilS) continue;
      const w = vecAt(gyro, i);
      sum += norm([w[0] + (bias[0] as number), w[1] + (bias[1] as number), w[2] + (bias[2] as number)]);
      count++;
    }
    return count > 0 ? sum / count : null;
  };
  const mean = meanUntil(lift.timeS);
  if (mean === null) return notMeasured('gap');
  // The window moves with the lift, and its ends fall between samples.
  const shiftS = lift.errorS + 0.5 * parts.context.stepS;
  const earlier = meanUntil(lift.timeS - shiftS) ?? mean;
  const later = meanUntil(lift.timeS + shiftS) ?? mean;
  const moved = Math.max(Math.abs(earlier - mean), Math.abs(later - mean));
  const biasVariance = parts.joint.covariance.get(jointGyro.bias, jointGyro.bias);
  return measured(mean * perTurn, Math.sqrt(biasVariance + (0.01 * mean) ** 2 + moved * moved) * perTurn);
}
