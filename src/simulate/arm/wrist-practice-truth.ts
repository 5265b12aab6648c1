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
  /** Ball spin over the hand's rate at release, of this player. */
  readonly spinGain: number;
  /** Ball rotation axes: the sensor's axes in those of forearm or hand, w x y z. */
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
    readonly bodyTurnDeg: number;
    readonly spinRps: number;
    readonly ballAxisTiltDeg: number | null;
  };
}
