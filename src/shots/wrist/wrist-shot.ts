import type { SensorTraits } from '../../foundation/imu-block.ts';
import { sampleFlag } from '../../foundation/imu-block.ts';
import { type Measured, measured, type NullReason, notMeasured } from '../../foundation/measured.ts';
import { conjugate, rotate } from '../../signal/rotation.ts';
import { dot, norm, unit, type Vec3 } from '../../signal/vec3.ts';
import { type ArmMount, type Shot, type ShotMeasureName, type ShotTime, shotMeasureNames } from '../shot.ts';
import type { ArmLearner } from './arm-learner.ts';
import { backspinOf } from './backspin-shot.ts';
import { findFollowThrough } from './follow-through.ts';
import { findJump, twistBetween } from './landing.ts';
import type { SensorMotion } from './mount-shot.ts';
import { type Motion, unknown, unknownCount } from './path-motion.ts';
import { doubtPause } from './pause-doubt.ts';
import { estimateRelease, type Instant } from './release.ts';
import { rivalLowsS } from './rival-lows.ts';
import { aheadShiftM, sideOf } from './side-path.ts';
import { findSnapPeak } from './snap-peak.ts';
import { type SnapStudy, solveForNumbers } from './snap-study.ts';
import { findStart } from './start.ts';
import { atWrist, leverSdM, wristLever } from './wrist-lever.ts';
import {
  Instantaneous,
  type Instants,
  liftToleranceM,
  pauseSpeedMps,
  readNumbers,
  type WristNumbers,
} from './wrist-numbers.ts';
import type { WristParams } from './wrist-params.ts';

export interface WristShotParts {
  /** What the practice has taught of the arm; it learns from this shot. */
  readonly arm: ArmLearner;
  readonly study: SnapStudy;
  readonly index: number;
  readonly traits: SensorTraits;
  readonly params: WristParams;
}

const degrees = 180 / Math.PI;
/**
 * Skin, strap and where the wrist is do this to the ends of a pause, s and samples, beyond what they do to the speed: with half of it one in
 * fifteen was off by more than three errors at 50 Hz.
 */
const pauseEnds = { leastS: 0.06, samples: 1.5 } as const;
/** What strap, skin and a travel that is not quite the throw's turn the axis, degrees: 2 to 3 on recordings simulated by others. */
const tiltFloorDeg = 2;

/** Puts a shot together from the study of its snap; null when its push has no end. */
export function assembleWristShot(parts: WristShotParts): Shot | null {
  const { arm, params, traits } = parts;
  const { path, movement } = parts.study;
  const release = estimateRelease(
    path,
    parts.study.motion,
    movement,
    arm.settings().mount,
    traits.filterDelayS,
    params,
  );
  if (!release) return null;
  const start = findStart(path, parts.study.motion, release.timeS, params);
  const study = solveForNumbers(parts.study, params);
  const { motion } = study;
  const instants = { pickupS: start.pickupS, releaseS: release.timeS, held: start.kind === 'hold' };
  const follow = findFollowThrough(path, release.timeS);
  arm.learnShot(sensorMotion(study), release.timeS, holdOf(release, follow));
  const settings = arm.settings();
  const place = settings.mount;
  const lever = wristLever(place, arm.mount().longAxis?.inSensor ?? null);
  const read: Read = (of, at) => readNumbers(path, of, at, lever);
  const numbers = read(motion, instants);
  const spreads = spreadsOf(study, read, instants, numbers);
  const pickupShift = shiftsOf(study, read, instants, numbers, start.errorS);
  const gapAt = (timeS: number): boolean => gapAround(path.block, timeS) !== null;
  const lostIn = gapAround(path.block, release.timeS);
  const releaseReason: NullReason | null = lostIn ? 'gap' : null;
  const pickupReason: NullReason | null =
    start.reason ?? (start.pickupS !== null && gapAt(start.pickupS) ? 'gap' : null);
  const between = (fromS: number | null, errorS: number, reason: NullReason | null): Measured => {
    const why = releaseReason ?? reason;
    if (why || fromS === null) return notMeasured(why ?? 'no-previous-flight');
    return measured(release.timeS - fromS, Math.hypot(errorS, release.errorS));
  };
  const liftErrorS =
    start.kind === 'hold'
      ? start.errorS
      : Math.hypot(
          spreads.liftS,
          pickupShift.liftS,
          0.5 / traits.nominalRateHz,
          rivalsOf(study, (of) => atWrist(path, of, lever), instants, numbers),
        );
  const measures = Object.fromEntries(
    shotMeasureNames.map((name) => [name, notMeasured('not-observable-from-wrist')]),
  ) as Record<ShotMeasureName, Measured>;
  measures.pickupToReleaseS = between(start.pickupS, start.errorS, pickupReason);
  measures.liftToReleaseS = between(numbers.liftS, liftErrorS, pickupReason);
  const along = (value: number | null, make: (value: number) => Measured): Measured => {
    const why = releaseReason ?? pickupReason;
    return why || value === null ? notMeasured(why ?? 'no-previous-flight') : make(value);
  };
  measures.pauseS = along(numbers.pauseS, () =>
    pauseOf(
      study,
      lever,
      instants,
      Math.hypot(pickupShift.pauseS, pauseEnds.leastS, pauseEnds.samples / traits.nominalRateHz),
    ),
  );
  measures.dipDepthM =
    start.kind === 'hold'
      ? notMeasured('no-pickup-event')
      : along(numbers.dipM, (v) =>
          measured(v, Math.hypot(spreads.dipM, pickupShift.dipM, leverErrorM(study, lever, instants, numbers))),
        );
  measures.sidePathM = along(numbers.sideM, (v) =>
    sideOf(
      v,
      numbers.otherSideM ?? 0,
      Math.hypot(spreads.sideM, pickupShift.sideM, aheadShiftM(path, motion, instants, lever)),
    ),
  );
  measures.pathPlanarity = along(numbers.planarity, (v) =>
    measured(v, Math.hypot(spreads.planarity, pickupShift.planarity, 0.003)),
  );
  const peak = findSnapPeak(path, release.timeS, traits.filterDelayS);
  measures.snapPeakDegps =
    releaseReason || !peak
      ? notMeasured(releaseReason ?? 'no-release-seen')
      : peak.clipped
        ? notMeasured('clipped')
        : measured(peak.rateRadps * degrees, Math.hypot(0.01 * peak.rateRadps, peak.errorRadps) * degrees);
  measures.snapToReleaseS =
    releaseReason || !peak
      ? notMeasured(releaseReason ?? 'no-release-seen')
      : measured(release.timeS - peak.timeS, Math.hypot(release.errorS, peak.errorS));
  const byMount = (seen: ArmMount, make: () => Measured): Measured => {
    if (place !== seen) return notMeasured(place ? 'not-observable-from-this-mount' : 'mount-unknown');
    return releaseReason ? notMeasured(releaseReason) : make();
  };
  measures.followThroughS = byMount('forearm', () =>
    follow === null
      ? notMeasured('no-still-hand')
      : measured(follow.timeS - release.timeS, Math.hypot(follow.errorS, release.errorS)),
  );
  measures.axisTiltDeg = byMount('back-of-hand', () =>
    tiltOf(numbers.releaseRateRadps, Math.hypot(spreads.tiltRad, tiltShift(study, release))),
  );
  measures.forearmElevationDeg = byMount('forearm', () => elevationOf(study, arm, release));
  measures.headingChangeDeg = byMount('forearm', () => headingChange(study, release, params));
  measures.backspinRps = backspinOf(measures.snapPeakDegps, settings);
  const shown = (timeS: number | null, reason: NullReason | null): number | null =>
    timeS === null || reason ? null : timeS - traits.filterDelayS;
  const pickupS = shown(start.pickupS, pickupReason);
  const liftS = shown(numbers.liftS, pickupReason);
  const told = lostIn ? anywhereIn(lostIn) : release;
  const releaseS = told.timeS - traits.filterDelayS;
  const timeReasons: Partial<Record<ShotTime, NullReason>> = { contact: 'not-observable-from-wrist' };
  if (pickupS === null) timeReasons.pickup = pickupReason ?? 'no-previous-flight';
  if (liftS === null) timeReasons.lift = pickupReason ?? 'no-previous-flight';
  const paused = measures.pauseS.value !== null && measures.pauseS.value > 0 && numbers.pauseShare !== null;
  return Object.freeze({
    index: parts.index,
    stage: 'final',
    startKind: start.kind,
    pickupS,
    liftS,
    releaseS,
    contactS: null,
    timeErrorsS: {
      pickup: pickupS === null ? null : start.errorS,
      lift: liftS === null ? null : liftErrorS,
      release: told.errorS,
      contact: null,
    },
    timeReasons,
    contactKind: 'unknown',
    pauseAt: paused ? ((numbers.pauseShare as number) < 0.5 ? 'low' : 'high') : null,
    measures,
  });
}

/**
 * The pause over all that its speed may be.
 *
 * @param endsS standard deviation of its ends.
 */
function pauseOf(
  { path, motion }: SnapStudy,
  lever: Vec3 | null,
  { pickupS, releaseS }: Instants,
  endsS: number,
): Measured {
  const between = new Instantaneous(path);
  const wrist = {
    path,
    motion: atWrist(path, motion, lever),
    shifted: (k: number) => atWrist(path, path.motion(k), lever),
  };
  const from = between.sampleAt(pickupS ?? releaseS);
  const { pauseS, errorS, interval90 } = doubtPause(wrist, from, between.sampleAt(releaseS), pauseSpeedMps);
  const more = normal90 * endsS;
  const low = Math.max(0, pauseS - Math.hypot(pauseS - interval90[0], more));
  const high = pauseS + Math.hypot(interval90[1] - pauseS, more);
  return measured(pauseS, Math.hypot(errorS, endsS), { interval90: [low, high] });
}

const normal90 = 1.6448536269514722;

/** Reads the numbers off a motion of the sensor. */
type Read = (of: Motion, instants: Instants) => WristNumbers;

/** What is not known of the place of the sensor on the arm does this to the dip, m. */
function leverErrorM(
  { path, motion }: SnapStudy,
  lever: Vec3 | null,
  { pickupS }: Instants,
  { liftS }: WristNumbers,
): number {
  if (!lever || pickupS === null || liftS === null) return unknownLeverM;
  const between = new Instantaneous(path);
  const along = (timeS: number): number => dot(motion.direction(between.sampleAt(timeS), lever), motion.up);
  return Math.hypot(leastDipErrorM, leverSdM * (along(pickupS) - along(liftS)));
}

/** Where place or long axis are not known, the sensor stands for the wrist. */
const unknownLeverM = 0.04;
/** Skin and strap. */
const leastDipErrorM = 0.01;

/** What other low points and a long low mean for the lift, s. */
function rivalsOf(
  { path, motion }: SnapStudy,
  wrist: (of: Motion) => Motion,
  { pickupS, releaseS }: Instants,
  { liftS }: WristNumbers,
): number {
  if (pickupS === null || liftS === null) return 0;
  const between = new Instantaneous(path);
  return rivalLowsS(
    { path, motion: wrist(motion), shifted: (k) => wrist(path.motion(k)) },
    between.sampleAt(pickupS),
    between.sampleAt(releaseS),
    liftS,
    liftToleranceM,
  );
}

/** The motion in the sensor's own axes. */
function sensorMotion({ path, motion }: SnapStudy): SensorMotion {
  return {
    length: path.block.length,
    timeS: (i) => path.timeOf(i),
    rateRadps: (i) => path.rateInSensor(i),
    up: (i) => rotate(conjugate(path.quaternion(i)), motion.up),
  };
}

/** @returns a time in the middle of the follow-through, or null where it is short. */
function holdOf(release: Instant, follow: Instant | null): number | null {
  const settledS = release.timeS + 0.15;
  return follow && follow.timeS > settledS + 0.1 ? (settledS + follow.timeS) / 2 : null;
}

/** @returns elevation of the forearm at release, as far as its long axis is known. */
function elevationOf({ path, motion }: SnapStudy, arm: ArmLearner, release: Instant): Measured {
  const between = new Instantaneous(path);
  const upAt = (timeS: number, of: Motion): Vec3 =>
    unit(between.at(timeS, (i) => rotate(conjugate(path.quaternion(i)), of.up)));
  const shifted = [upAt(release.timeS + release.errorS, motion)];
  for (let shift = 0; shift < unknownCount; shift++) shifted.push(upAt(release.timeS, path.motion(shift)));
  return arm.elevationDeg(upAt(release.timeS, motion), shifted);
}

function headingChange({ path, motion }: SnapStudy, release: Instant, params: WristParams): Measured {
  const jump = findJump(path, motion, release.timeS, params);
  if (!jump) return notMeasured('no-landing');
  const between = new Instantaneous(path);
  const landing = between.sampleAt(jump.landing.timeS);
  const turn = (takeOffS: number): number => twistBetween(path, motion.up, between.sampleAt(takeOffS), landing);
  const { timeS, errorS } = jump.takeOff;
  const value = turn(timeS);
  const spread = Math.max(Math.abs(turn(timeS - errorS) - value), Math.abs(turn(timeS + errorS) - value));
  return measured(value * degrees, Math.hypot(spread, 0.02 + 0.5 * path.deviationOf(unknown.tilt)) * degrees);
}

/** @returns tilt of the spin axis by the hand's turning at release: the ball turns the other way. */
function tiltOf(rate: Vec3, spreadRad: number): Measured {
  const tilt = Math.atan2(-rate[2], rate[1]);
  if (norm(rate) < 1) return notMeasured('spin-too-slow');
  if (Math.abs(tilt) > 80 / degrees) return notMeasured('near-sideways-axis');
  return measured(tilt * degrees, Math.hypot(spreadRad * degrees, tiltFloorDeg), { source: 'hand' });
}

/** What an error of the release alone does to the tilt, rad. */
function tiltShift({ path, motion }: SnapStudy, { timeS, errorS }: Instant): number {
  const at = (releaseS: number): number => {
    const { releaseRateRadps: rate } = readNumbers(path, motion, { pickupS: null, releaseS, held: false });
    return Math.atan2(-rate[2], rate[1]);
  };
  const told = at(timeS);
  return Math.max(Math.abs(at(timeS - errorS) - told), Math.abs(at(timeS + errorS) - told));
}

/** What an error of the pickup alone does to the numbers. */
function shiftsOf(
  study: SnapStudy,
  read: Read,
  instants: Instants,
  at: WristNumbers,
  errorS: number,
): Omit<Spreads, 'tiltRad'> {
  const { pickupS, releaseS } = instants;
  const zero = { liftS: 0, pauseS: 0, dipM: 0, sideM: 0, planarity: 0 };
  if (pickupS === null) return zero;
  const shifts = { ...zero };
  for (const sign of [-1, 1]) {
    const moved = read(study.motion, {
      ...instants,
      pickupS: Math.min(releaseS - 0.1, Math.max(study.path.timeOf(0), pickupS + sign * errorS)),
    });
    for (const key of Object.keys(zero) as (keyof typeof zero)[]) {
      shifts[key] = Math.max(shifts[key], Math.abs((moved[key] ?? 0) - (at[key] ?? 0)));
    }
  }
  return shifts;
}

interface Spreads {
  readonly liftS: number;
  readonly pauseS: number;
  readonly dipM: number;
  readonly sideM: number;
  readonly planarity: number;
  readonly tiltRad: number;
}

/** Standard deviations by what is not known of the path: the numbers are read again at each one-sigma shift. */
function spreadsOf(study: SnapStudy, read: Read, instants: Instants, at: WristNumbers): Spreads {
  const sum = { liftS: 0, pauseS: 0, dipM: 0, sideM: 0, planarity: 0, tiltRad: 0 };
  const tilt = (n: WristNumbers): number => Math.atan2(-n.releaseRateRadps[2], n.releaseRateRadps[1]);
  for (let shift = 0; shift < unknownCount; shift++) {
    const moved = read(study.path.motion(shift), instants);
    for (const key of ['liftS', 'pauseS', 'dipM', 'sideM', 'planarity'] as const) {
      sum[key] += ((moved[key] ?? 0) - (at[key] ?? 0)) ** 2;
    }
    sum.tiltRad += (tilt(moved) - tilt(at)) ** 2;
  }
  return {
    liftS: Math.sqrt(sum.liftS),
    pauseS: Math.sqrt(sum.pauseS),
    dipM: Math.sqrt(sum.dipM),
    sideM: Math.sqrt(sum.sideM),
    planarity: Math.sqrt(sum.planarity),
    tiltRad: Math.sqrt(sum.tiltRad),
  };
}

/** @returns the samples' times around an instant where some are missing between them, or null where none are. */
function gapAround(block: SnapStudy['path']['block'], timeS: number): readonly [number, number] | null {
  for (let i = 1; i < block.length; i++) {
    const [before, after] = [block.timeS[i - 1] as number, block.timeS[i] as number];
    if (after < timeS) continue;
    return ((block.flags[i] as number) & sampleFlag.gapBefore) !== 0 && before < timeS ? [before, after] : null;
  }
  return null;
}

/**
 * A shot must have a time, and the arm knows no contact: a release that was lost is given as anywhere in its gap. What needs it
 * better is not told.
 */
function anywhereIn([fromS, toS]: readonly [number, number]): Instant {
  return { timeS: (fromS + toS) / 2, errorS: (toS - fromS) / Math.sqrt(12) };
}
