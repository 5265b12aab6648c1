import type { Measured, NullReason } from '../foundation/measured.ts';

/** Version of the analysis; stored with every shot, raised whenever a result can change. */
export const analysisVersion = '1';

export const startKinds = ['dribble', 'catch', 'hold', 'unknown'] as const;
export type StartKind = (typeof startKinds)[number];

export const contactKinds = ['ring', 'board', 'net', 'floor', 'hands', 'unknown'] as const;
export type ContactKind = (typeof contactKinds)[number];

export const shotTimes = ['pickup', 'lift', 'release', 'contact'] as const;
export type ShotTime = (typeof shotTimes)[number];

/** Every measure a ball can give, in the order in which a person reads them. Units stand in the names. */
export const ballMeasureNames = [
  'pickupToReleaseS',
  'liftToReleaseS',
  'pauseS',
  'dipDepthM',
  'sidePathM',
  'flightS',
  'spinRps',
  'backspinRps',
  'sidespinRps',
  'rifleSpinRps',
  'axisTiltDeg',
  'launchSpeedMps',
  'launchAngleDeg',
  'entryAngleDeg',
  'apexM',
  'speedMarginMps',
  'contactHardnessMps',
  'sidewaysImpulseMps',
  'spinBeforeLiftRps',
] as const;
export type BallMeasureName = (typeof ballMeasureNames)[number];

/** One shot as measured. Times are seconds of the recording's own clock; null where `timeReasons` says why. */
export interface Shot {
  readonly index: number;
  /** `early`: about 0.25 s after release, most measures null `too-early`; `final`: after the first contact. */
  readonly stage: 'early' | 'final';
  readonly startKind: StartKind;
  readonly pickupS: number | null;
  readonly liftS: number | null;
  readonly releaseS: number | null;
  readonly contactS: number | null;
  /** Standard error of each time, null where the time is. */
  readonly timeErrorsS: Readonly<Record<ShotTime, number | null>>;
  readonly timeReasons: Readonly<Partial<Record<ShotTime, NullReason>>>;
  readonly contactKind: ContactKind;
  readonly pauseAt: 'low' | 'high' | null;
  readonly measures: Readonly<Record<BallMeasureName, Measured>>;
}

/** A stretch that looked like the start of a shot and was not one. */
export interface RejectedFlight {
  readonly startS: number;
  readonly endS: number;
  readonly kind: 'pass' | 'dribble' | 'toss' | 'drop' | 'rebound' | 'not-flight' | 'undecided';
  readonly reason: string;
}

/** What the ball pipeline says as samples go in. An `early` shot is followed by its `final` one or by a rejection. */
export type ShotEvent =
  | { readonly kind: 'shot'; readonly shot: Shot }
  | { readonly kind: 'rejected'; readonly rejected: RejectedFlight };

/** What the person tells about ball, hoop and spot. */
export interface BallSettings {
  readonly ballSize: 7 | 6 | 5;
  readonly hoopHeightM: number;
  /** Height of the ball's centre at release above the floor, or null when not known. */
  readonly releaseHeightM: number | null;
  /** Floor distance from the feet to the point below the ring's centre, or null when not known. */
  readonly distanceM: number | null;
}

export const defaultBallSettings: BallSettings = Object.freeze({
  ballSize: 7,
  hoopHeightM: 3.05,
  releaseHeightM: null,
  distanceM: null,
});
