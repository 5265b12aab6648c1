import { type Measured, type NullReason, notMeasured } from '../foundation/measured.ts';
import type { SpinReference } from './wrist/backspin.ts';

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

/** Measures that only a sensor on the arm or hand can give. */
export const armMeasureNames = [
  'snapPeakDegps',
  'snapToReleaseS',
  'forearmElevationDeg',
  'pathPlanarity',
  'followThroughS',
  'headingChangeDeg',
] as const;
export type ArmMeasureName = (typeof armMeasureNames)[number];

/** Every measure of a shot, whichever sensor gave it. */
export const shotMeasureNames = [...ballMeasureNames, ...armMeasureNames] as const;
export type ShotMeasureName = (typeof shotMeasureNames)[number];

/** What a sensor in the ball says of the arm. */
export const unseenByBall: Readonly<Record<ArmMeasureName, Measured>> = Object.freeze({
  snapPeakDegps: notMeasured('not-observable-from-ball'),
  snapToReleaseS: notMeasured('not-observable-from-ball'),
  forearmElevationDeg: notMeasured('not-observable-from-ball'),
  pathPlanarity: notMeasured('not-observable-from-ball'),
  followThroughS: notMeasured('not-observable-from-ball'),
  headingChangeDeg: notMeasured('not-observable-from-ball'),
});

/** One shot as measured. Times are seconds of the recording's own clock; null where `timeReasons` says why. */
export interface Shot {
  readonly index: number;
  /** `early`: about 0.27 s after release, most measures null `too-early`; `final`: after the first contact. */
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
  readonly measures: Readonly<Record<ShotMeasureName, Measured>>;
}

/** What a stretch was that looked like a shot; the last four come from a sensor on the arm. */
export const rejectedKinds = [
  'pass',
  'dribble',
  'toss',
  'drop',
  'rebound',
  'not-flight',
  'undecided',
  'layup-like',
  'pump-fake',
  'throw',
  'other-movement',
] as const;
export type RejectedKind = (typeof rejectedKinds)[number];

/** A stretch that looked like the start of a shot and was not one. */
export interface RejectedFlight {
  readonly startS: number;
  readonly endS: number;
  readonly kind: RejectedKind;
  readonly reason: string;
}

/** What the ball pipeline says as samples go in. An `early` shot is followed by its `final` one or by a rejection. */
export type ShotEvent =
  | { readonly kind: 'shot'; readonly shot: Shot }
  | { readonly kind: 'rejected'; readonly rejected: RejectedFlight };

/** Work that samples to come will ask for. When it is done makes no difference to what is told, only to how soon. */
export interface Preparation {
  /** s of the stream until it is asked for. */
  readonly dueInS: number;
  /** Does a piece of it, a few milliseconds long. */
  readonly work: () => void;
}

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

/** Where on the arm a sensor sits: just above the wrist, or on the back of the hand. */
export const armMounts = ['forearm', 'back-of-hand'] as const;
export type ArmMount = (typeof armMounts)[number];

/** What the person tells about a sensor on the arm. */
export interface WristSettings {
  /** Null where nobody said it: it is then told from the motion, or what needs it is not told. */
  readonly mount: ArmMount | null;
  /** Reference shots of the player for the backspin; none where they were not given. */
  readonly spinReferences?: readonly SpinReference[];
}

export const defaultWristSettings: WristSettings = Object.freeze({ mount: null });
