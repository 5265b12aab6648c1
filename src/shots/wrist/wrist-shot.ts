import type { SensorTraits } from '../../foundation/imu-block.ts';
import { sampleFlag } from '../../foundation/imu-block.ts';
import { type Measured, measured, type NullReason, notMeasured } from '../../foundation/measured.ts';
import { conjugate, rotate } from '../../signal/rotation.ts';
import { dot, norm, unit, type Vec3 } from '../../signal/vec3.ts';
import { type ArmMount, type Shot, type ShotMeasureName, type ShotTime, shotMeasureNames } from '../shot.ts';
import type { ArmLearner } from './arm-learner.ts';
import { backspinOf } from './backspin-shot.ts';
import { dipOf, pauseOf, sinceOf, snapOf } from './doubtful-measures.ts';
import { findFollowThrough } from './follow-through.ts';
import { findJump, twistBetween } from './landing.ts';
import { type DoubtfulLift, doubtLift } from './lift-doubt.ts';
import type { SensorMotion } from './mount-shot.ts';
import { type Read, shiftsOf, spreadsOf } from './number-spreads.ts';
import type { DoubtfulPath } from './path-doubt.ts';
import { type Motion, unknown, unknownCount } from './path-motion.ts';
import { estimateRelease, type Instant } from './release.ts';
import { aheadShiftM, driftM, sideOf } from './side-path.ts';
import { findSnapPeak } from './snap-peak.ts';
import { type SnapStudy, solveForNumbers } from './snap-study.ts';
import { findStart } from './start.ts';
import { errorOf, type Way } from './ways.ts';
import { atWrist, leverSdM, wristLever } from './wrist-lever.ts';
import { Instantaneous, type Instants, liftToleranceM, readNumbers, type WristNumbers } from './wrist-numbers.ts';
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
  const found = { pickupS: start.pickupS, releaseS: release.timeS, held: start.kind === 'hold' };
  const follow = findFollowThrough(path, release.timeS);
  arm.learnShot(sensorMotion(study), release.timeS, holdOf(release, follow));
  const settings = arm.settings();
  const place = settings.mount;
  const lever = wristLever(place, arm.mount().longAxis?.inSensor ?? null);
  const read: Read = (of, at) => readNumbers(path, of, at, lever);
  const wrist: DoubtfulPath = {
    path,
    motion: atWrist(path, motion, lever),
    shifted: (k) => atWrist(path, path.motion(k), lever),
  };
  const lift =
    start.pickupS === null || found.held
      ? null
      : doubtLift(wrist, start.ways, start.pickupS, release.timeS, liftToleranceM);
  const atFound = read(motion, found);
  const spreads = spreadsOf(study, read, found, atFound);
  const pickupShift = shiftsOf(study, read, found, atFound, start.ways);
  const instants = lift ? { ...found, liftS: lift.liftS } : found;
  const numbers = lift ? read(motion, instants) : atFound;
  const gapAt = (timeS: number): boolean => gapAround(path.block, timeS) !== null;
  const lostIn = gapAround(path.block, release.timeS);
  const releaseReason: NullReason | null = lostIn ? 'gap' : null;
  const pickupReason: NullReason | null =
    start.reason ?? (start.pickupS !== null && gapAt(start.pickupS) ? 'gap' : null);
  const between = (fromS: number | null, ways: readonly Way[], reason: NullReason | null): Measured => {
    const why = releaseReason ?? reason;
    if (why || fromS === null) return notMeasured(why ?? 'no-previous-flight');
    return sinceOf(fromS, ways, release);
  };
  const liftWays = lift ? lift.ways : start.ways;
  const liftErrorS = numbers.liftS === null ? 0 : errorOf(liftWays, numbers.liftS);
  const measures = Object.fromEntries(
    shotMeasureNames.map((name) => [name, notMeasured('not-observable-from-wrist')]),
  ) as Record<ShotMeasureName, Measured>;
  measures.pickupToReleaseS = between(start.pickupS, start.ways, pickupReason);
  measures.liftToReleaseS = between(numbers.liftS, liftWays, pickupReason);
  const along = (value: number | null, make: (value: number) => Measured): Measured => {
    const why = releaseReason ?? pickupReason;
    return why || value === null ? notMeasured(why ?? 'no-previous-flight') : make(value);
  };
  measures.pauseS = along(numbers.pauseS, () =>
    pauseOf(
      wrist,
      instants,
      Math.hypot(pickupShift.pauseS, pauseEnds.leastS, pauseEnds.samples / traits.nominalRateHz),
    ),
  );
  measures.dipDepthM =
    start.kind === 'hold'
      ? notMeasured('no-pickup-event')
      : along(numbers.dipM, () =>
          dipOf(
            (lift as DoubtfulLift).dip,
            Math.hypot(pickupShift.ownDipM, leverErrorM(study, lever, instants, numbers)),
          ),
        );
  measures.sidePathM = along(numbers.sideM, (v) =>
    sideOf(
      v,
      numbers.otherSideM ?? 0,
      Math.hypot(
        spreads.sideM,
        pickupShift.sideM,
        aheadShiftM(path, motion, instants, lever),
        driftM(numbers, release),
      ),
    ),
  );
  measures.pathPlanarity = along(numbers.planarity, (v) =>
    measured(v, Math.hypot(spreads.planarity, pickupShift.planarity, 0.003)),
  );
  const peak = findSnapPeak(path, release.timeS, traits.filterDelayS, place === 'back-of-hand');
  measures.snapPeakDegps =
    releaseReason || !peak
      ? notMeasured(releaseReason ?? 'no-release-seen')
      : peak.clipped
        ? notMeasured('clipped')
        : snapOf(peak);
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
