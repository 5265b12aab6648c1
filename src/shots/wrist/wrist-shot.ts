import type { SensorTraits } from '../../foundation/imu-block.ts';
import { sampleFlag } from '../../foundation/imu-block.ts';
import { type Measured, measured, type NullReason, notMeasured } from '../../foundation/measured.ts';
import { norm, type Vec3 } from '../../signal/vec3.ts';
import { type Shot, type ShotMeasureName, type ShotTime, shotMeasureNames, type WristSettings } from '../shot.ts';
import { findFollowThrough } from './follow-through.ts';
import { estimateRelease } from './release.ts';
import { findSnapPeak } from './snap-peak.ts';
import type { SnapStudy } from './snap-study.ts';
import { findStart } from './start.ts';
import { unknownCount } from './strapdown.ts';
import { readNumbers, type WristNumbers } from './wrist-numbers.ts';
import type { WristParams } from './wrist-params.ts';

export interface WristShotParts {
  readonly study: SnapStudy;
  readonly index: number;
  readonly traits: SensorTraits;
  readonly settings: WristSettings;
  readonly params: WristParams;
}

const degrees = 180 / Math.PI;

/** Puts a shot together from the study of its snap; null when its push has no end. */
export function assembleWristShot(parts: WristShotParts): Shot | null {
  const { study, settings, params, traits } = parts;
  const { path, motion, movement } = study;
  const release = estimateRelease(path, motion, movement, settings.mount, params);
  if (!release) return null;
  const start = findStart(path, motion, release.timeS, params);
  const instants = { pickupS: start.pickupS, releaseS: release.timeS, held: start.kind === 'hold' };
  const numbers = readNumbers(path, motion, instants);
  const spreads = spreadsOf(parts, instants, numbers);
  const gapAt = (timeS: number): boolean => inGap(path.block, timeS);
  const releaseReason: NullReason | null = gapAt(release.timeS) ? 'gap' : null;
  const pickupReason: NullReason | null =
    start.reason ?? (start.pickupS !== null && gapAt(start.pickupS) ? 'gap' : null);
  const between = (fromS: number | null, errorS: number, reason: NullReason | null): Measured => {
    const why = releaseReason ?? reason;
    if (why || fromS === null) return notMeasured(why ?? 'no-previous-flight');
    return measured(release.timeS - fromS, Math.hypot(errorS, release.errorS));
  };
  const liftErrorS = Math.hypot(spreads.liftS, 0.5 / traits.nominalRateHz, 0.004);
  const measures = Object.fromEntries(
    shotMeasureNames.map((name) => [name, notMeasured('not-observable-from-wrist')]),
  ) as Record<ShotMeasureName, Measured>;
  measures.pickupToReleaseS = between(start.pickupS, start.errorS, pickupReason);
  measures.liftToReleaseS = between(numbers.liftS, liftErrorS, pickupReason);
  const along = (value: number | null, make: (value: number) => Measured): Measured => {
    const why = releaseReason ?? pickupReason;
    return why || value === null ? notMeasured(why ?? 'no-previous-flight') : make(value);
  };
  measures.pauseS = along(numbers.pauseS, (v) => measured(v, Math.hypot(spreads.pauseS, 0.3 / traits.nominalRateHz)));
  measures.dipDepthM =
    start.kind === 'hold'
      ? notMeasured('no-pickup-event')
      : along(numbers.dipM, (v) => measured(v, Math.hypot(spreads.dipM, 0.01)));
  measures.sidePathM = along(numbers.sideM, (v) => measured(v, Math.hypot(spreads.sideM, 0.01)));
  measures.pathPlanarity = along(numbers.planarity, (v) => measured(v, Math.hypot(spreads.planarity, 0.002)));
  const peak = findSnapPeak(path, release.timeS);
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
  const follow = findFollowThrough(path, motion, release.timeS);
  const onForearm = settings.mount === 'forearm';
  const onHand = settings.mount === 'back-of-hand';
  const byMount = (seen: boolean, make: () => Measured): Measured =>
    seen
      ? releaseReason
        ? notMeasured(releaseReason)
        : make()
      : notMeasured(settings.mount ? 'not-observable-from-this-mount' : 'mount-unknown');
  measures.followThroughS = byMount(onForearm, () =>
    follow === null
      ? notMeasured('no-still-hand')
      : measured(follow.timeS - release.timeS, Math.hypot(follow.errorS, release.errorS)),
  );
  measures.axisTiltDeg = byMount(onHand, () => tiltOf(numbers.releaseRateRadps, spreads.tiltRad));
  measures.forearmElevationDeg = byMount(onForearm, () => notMeasured('mount-unknown'));
  measures.headingChangeDeg = byMount(onForearm, () => notMeasured('no-landing'));
  const shown = (timeS: number | null, reason: NullReason | null): number | null =>
    timeS === null || reason ? null : timeS - traits.filterDelayS;
  const pickupS = shown(start.pickupS, pickupReason);
  const liftS = shown(numbers.liftS, pickupReason);
  const releaseS = shown(release.timeS, releaseReason);
  const timeReasons: Partial<Record<ShotTime, NullReason>> = { contact: 'not-observable-from-wrist' };
  if (pickupS === null) timeReasons.pickup = pickupReason ?? 'no-previous-flight';
  if (liftS === null) timeReasons.lift = pickupReason ?? 'no-previous-flight';
  if (releaseS === null) timeReasons.release = releaseReason ?? 'no-release-seen';
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
      lift: liftS === null ? null : start.kind === 'hold' ? start.errorS : liftErrorS,
      release: releaseS === null ? null : release.errorS,
      contact: null,
    },
    timeReasons,
    contactKind: 'unknown',
    pauseAt: paused ? ((numbers.pauseShare as number) < 0.5 ? 'low' : 'high') : null,
    measures,
  });
}

/** @returns tilt of the spin axis by the hand's turning at release: the ball turns the other way. */
function tiltOf(rate: Vec3, spreadRad: number): Measured {
  const tilt = Math.atan2(-rate[2], rate[1]);
  if (norm(rate) < 1) return notMeasured('spin-too-slow');
  if (Math.abs(tilt) > 80 / degrees) return notMeasured('near-sideways-axis');
  return measured(tilt * degrees, Math.hypot(spreadRad * degrees, 2), { source: 'hand' });
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
function spreadsOf({ study }: WristShotParts, instants: Parameters<typeof readNumbers>[2], at: WristNumbers): Spreads {
  const sum = { liftS: 0, pauseS: 0, dipM: 0, sideM: 0, planarity: 0, tiltRad: 0 };
  const tilt = (n: WristNumbers): number => Math.atan2(-n.releaseRateRadps[2], n.releaseRateRadps[1]);
  for (let shift = 0; shift < unknownCount; shift++) {
    const moved = readNumbers(study.path, study.path.motion(shift), instants);
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

/** @returns whether samples are missing at an instant. */
function inGap(block: SnapStudy['path']['block'], timeS: number): boolean {
  for (let i = 1; i < block.length; i++) {
    if ((block.timeS[i] as number) < timeS) continue;
    return ((block.flags[i] as number) & sampleFlag.gapBefore) !== 0 && (block.timeS[i - 1] as number) < timeS;
  }
  return false;
}
