import { normal90, standardGravityMps2 } from '../../foundation/constants.ts';
import type { ImuBlock } from '../../foundation/imu-block.ts';
import type { Measured } from '../../foundation/measured.ts';
import type { RejectedFlight, Shot } from '../../shots/shot.ts';

/**
 * The analysis counts time from the first sample: what it learns of a sensor ages from there on, and a count of seconds
 * since 1970 leaves too few digits for derivatives.
 *
 * @returns the block with times that count from `originS`.
 */
export function countedFrom(originS: number, block: ImuBlock): ImuBlock {
  return { ...block, timeS: block.timeS.map((timeS) => timeS - originS) };
}

/** What turns times of the analysis into those of the recording. */
export interface TimeReading {
  /** Added to every time, s. */
  readonly originS: number;
  /** Doubt of every time because the delay of the sensor's filter is not known, s. */
  readonly sharedErrorS: number;
}

/**
 * A filter whose delay d was not told does not shift all instants alike: a blow shows through it almost at once, the soft hold of a
 * hand and the path by about d, while a force that fades leaves a tail of up to four and a half d. Fingers that let go within some
 * milliseconds hide a tail shorter than that. So much of d stays in the difference between the end of a force and a blow, `least` and
 * more with the delay; what stays against a hand's hold or the path is a share of it, and the release itself is late by what a blow
 * is late, `ofBlow`, besides. Root mean square over delays of 0 to 1.1 samples and fades of 6 to 40 ms, read off edges put through a
 * second-order Butterworth low-pass and located as if there were none.
 */
const smear = { least: 0.7, perS: 1 / 0.0023, most: 3.3, toHand: 0.85, toPath: 0.7, ofBlow: 0.3 } as const;
/** Nothing ends sooner than it seems to: standard deviations that 90 % reach to the side on which a tail moves a number, and to the other. */
const reach90 = { along: 1.8, against: 0.5 } as const;

/** One sigma of how much later the end of a force is told than a blow where the delay was not told, s. */
function tailOf(delayS: number): number {
  return delayS * Math.min(smear.most, smear.least + smear.perS * delayS);
}

/** On the arm a release is read off the motion, which shows it late by the delay alone. */
function fades({ measures }: Shot): boolean {
  const { snapPeakDegps } = measures;
  return snapPeakDegps.value === null && snapPeakDegps.reason === 'not-observable-from-ball';
}

/** @returns the shot with the recording's own times, their errors with the doubt they share. */
export function shotInRecordingTime(shot: Shot, { originS, sharedErrorS }: TimeReading): Shot {
  const at = (timeS: number | null) => (timeS === null ? null : timeS + originS);
  const error = (errorS: number | null, moreS: number) => (errorS === null ? null : Math.hypot(errorS, moreS));
  const { pickup, lift, release, contact } = shot.timeErrorsS;
  const tailS = fades(shot) ? tailOf(sharedErrorS) : 0;
  const lateS = Math.max(sharedErrorS, tailS + smear.ofBlow * sharedErrorS);
  return {
    ...shot,
    pickupS: at(shot.pickupS),
    liftS: at(shot.liftS),
    releaseS: at(shot.releaseS),
    contactS: at(shot.contactS),
    timeErrorsS: {
      pickup: error(pickup, sharedErrorS),
      lift: error(lift, sharedErrorS),
      release: error(release, lateS),
      contact: error(contact, sharedErrorS),
    },
    measures:
      sharedErrorS > 0 ? { ...shot.measures, ...smeared(shot, tailS > 0 ? tailS : sharedErrorS) } : shot.measures,
  };
}

/** The measures that lie between instants, or hold at one, with what an untold filter adds to their errors. */
function smeared({ startKind, measures }: Shot, tailS: number): Partial<Shot['measures']> {
  const { launchSpeedMps, launchAngleDeg, apexM } = measures;
  const lateS = smear.toPath * tailS;
  const common = {
    flightS: widened(measures.flightS, tailS),
    pickupToReleaseS: widened(measures.pickupToReleaseS, -(startKind === 'hold' ? lateS : smear.toHand * tailS)),
    liftToReleaseS: widened(measures.liftToReleaseS, -lateS),
  };
  if (launchSpeedMps.value === null || launchAngleDeg.value === null) return common;
  // Told for a release that is late, the ball is slower by gravity's share, flatter, and higher up already.
  const angle = (launchAngleDeg.value * Math.PI) / 180;
  const speed = launchSpeedMps.value;
  const flatter = (standardGravityMps2 * Math.cos(angle)) / Math.max(1, speed);
  return {
    ...common,
    launchSpeedMps: widened(launchSpeedMps, standardGravityMps2 * Math.sin(angle) * lateS),
    launchAngleDeg: widened(launchAngleDeg, flatter * lateS * (180 / Math.PI)),
    apexM: widened(apexM, speed * Math.sin(angle) * lateS),
  };
}

/** @returns the same number with one more independent error, which only moves the truth to the side of its sign. */
function widened(measure: Measured, moreError: number): Measured {
  if (measure.value === null) return measure;
  const { value, standardError, interval90 } = measure;
  const more = Math.abs(moreError);
  if (more === 0) return measure;
  const [below, above] = moreError < 0 ? [reach90.along, reach90.against] : [reach90.against, reach90.along];
  const [low, high] = interval90 ?? [value - normal90 * standardError, value + normal90 * standardError];
  return {
    ...measure,
    standardError: Math.hypot(standardError, more),
    interval90: [
      value - Math.hypot(Math.max(0, value - low), below * more),
      value + Math.hypot(Math.max(0, high - value), above * more),
    ],
  };
}

/** @returns the flight with the recording's own times. */
export function flightInRecordingTime(flight: RejectedFlight, { originS }: TimeReading): RejectedFlight {
  return { ...flight, startS: flight.startS + originS, endS: flight.endS + originS };
}
