import type { ImuBlock } from '../../foundation/imu-block.ts';
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
  /** Doubt that all times of the recording share, s: no difference of two of them has it. */
  readonly sharedErrorS: number;
}

/** @returns the shot with the recording's own times, their errors with the doubt they share. */
export function shotInRecordingTime(shot: Shot, { originS, sharedErrorS }: TimeReading): Shot {
  const at = (timeS: number | null) => (timeS === null ? null : timeS + originS);
  const error = (errorS: number | null) => (errorS === null ? null : Math.hypot(errorS, sharedErrorS));
  const { pickup, lift, release, contact } = shot.timeErrorsS;
  return {
    ...shot,
    pickupS: at(shot.pickupS),
    liftS: at(shot.liftS),
    releaseS: at(shot.releaseS),
    contactS: at(shot.contactS),
    timeErrorsS: { pickup: error(pickup), lift: error(lift), release: error(release), contact: error(contact) },
  };
}

/** @returns the flight with the recording's own times. */
export function flightInRecordingTime(flight: RejectedFlight, { originS }: TimeReading): RejectedFlight {
  return { ...flight, startS: flight.startS + originS, endS: flight.endS + originS };
}
