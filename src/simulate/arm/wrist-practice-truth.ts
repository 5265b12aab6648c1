import type { DecoyTruth } from '../practice-truth.ts';
import type { MountPlace } from './arm-player.ts';

/**
 * What truly happened at a wrist in a simulated practice. Times are device seconds of the wrist sensor since its first
 * received sample; filter delay is not in them.
 */
export interface WristPracticeTruth {
  readonly schemaVersion: 1;
  readonly seed: string;
  readonly timeZeroTick: number;
  readonly player: WristPlayerTruth;
  readonly shots: readonly WristShotTruth[];
  readonly decoys: readonly DecoyTruth[];
}

/** Who wears the sensor, and where. */
export interface WristPlayerTruth {
  readonly hand: 'left' | 'right';
  readonly mount: MountPlace;
  readonly statureM: number;
  readonly forearmM: number;
  /** Ball spin over the hand's rate at release, of this player, where the fingers do not slip. */
  readonly spinGain: number;
  /** Turns sensor axes into those of forearm or hand, w x y z. */
  readonly sensorToSegment: readonly [number, number, number, number];
  /** Wrist to sensor in the axes of forearm or hand. */
  readonly offsetM: readonly [number, number, number];
}

export const wristMeasureNames = [
  'pickupToReleaseS',
  'liftToReleaseS',
  'pauseS',
  'dipDepthM',
  'sidePathM',
  'snapPeakDegps',
  'snapToReleaseS',
  'forearmElevationDeg',
  'pathPlanarity',
  'followThroughS',
  'headingChangeDeg',
  'axisTiltDeg',
  'backspinRps',
] as const;
export type WristMeasureName = (typeof wristMeasureNames)[number];

export type WristTruthNullReason = 'no-low-rest' | 'no-pickup-event' | 'no-landing' | 'no-snap-peak' | 'no-fall';

export type WristTruthMeasure =
  | { readonly value: number }
  | { readonly value: null; readonly reason: WristTruthNullReason };

/**
 * One shot. The room's x is the level direction in which the middle of the hand travelled over the last tenth of a second
 * before release, y to the left of it, z up. The heading change is the turn about the vertical within the rotation of the
 * forearm from take-off to landing (swing–twist), for a forearm that points nearly straight up has no heading of its own.
 */
export interface WristShotTruth {
  readonly index: number;
  readonly startKind: 'dribble' | 'catch' | 'hold';
  /** By the ball, as for a sensor in it: the hand meets it, or its last low rest. */
  readonly pickupS: number | null;
  /** By the wrist. */
  readonly liftS: number | null;
  readonly releaseS: number;
  readonly takeOffS: number | null;
  readonly landingS: number | null;
  readonly timeReasons: Readonly<Partial<Record<'pickup' | 'lift', WristTruthNullReason>>>;
  readonly pauseAt: 'low' | 'high' | null;
  readonly measures: Readonly<Record<WristMeasureName, WristTruthMeasure>>;
  /** What only the simulator can know. */
  readonly setting: {
    readonly start: string;
    readonly motion: string;
    /** The pickup that the rule for a held ball would give if the wrist stood for the ball. */
    readonly wristRestS: number | null;
    /** The longest time with the wrist's, not the ball's, vertical speed below 0.3 m/s between pickup and release. */
    readonly wristPauseS: number;
    /** Angular velocity of the hand at release: along its travel, to the left of it, up. */
    readonly handRateRadps: readonly [number, number, number];
    /** The snap peak without the swing of skin and strap. */
    readonly boneSnapPeakDegps: number;
    readonly wristVelocityMps: readonly [number, number, number];
    /** Heading of the wrist's own way over the last tenth of a second, and of the ball, from the hand's: left positive. */
    readonly wristTravelDeg: number;
    readonly launchDeg: number;
    /** Turn of the trunk, and integral of the forearm's rate about the vertical, between take-off and landing; 0 without. */
    readonly bodyTurnDeg: number;
    readonly turnIntegralDeg: number;
    readonly spinRps: number;
    readonly ballAxisTiltDeg: number | null;
  };
}
