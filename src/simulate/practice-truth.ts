/**
 * What truly happened in a simulated practice, in the words of the shots that an analysis reports. Times are device
 * seconds since the first received sample; `timeZeroTick` is the device tick of that sample. Filter delay is not in them.
 */
export interface PracticeTruth {
  readonly schemaVersion: 1;
  readonly seed: string;
  readonly timeZeroTick: number;
  readonly shots: readonly ShotTruth[];
  readonly decoys: readonly DecoyTruth[];
}

export interface DecoyTruth {
  readonly kind: string;
  readonly startS: number;
  readonly endS: number;
}

export const truthMeasureNames = [
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
export type TruthMeasureName = (typeof truthMeasureNames)[number];

/** Reasons for which a quantity does not exist by its definition. */
export type TruthNullReason =
  | 'no-low-rest'
  | 'no-pickup-event'
  | 'no-ring-reference'
  | 'near-sideways-axis'
  | 'no-contact';

export type TruthMeasure = { readonly value: number } | { readonly value: null; readonly reason: TruthNullReason };

export interface ShotTruth {
  readonly index: number;
  readonly startKind: 'dribble' | 'catch' | 'hold';
  readonly pickupS: number | null;
  readonly liftS: number | null;
  readonly releaseS: number;
  readonly contactS: number | null;
  readonly timeReasons: Readonly<Partial<Record<'pickup' | 'lift' | 'release' | 'contact', TruthNullReason>>>;
  readonly contactKind: 'ring' | 'board' | 'net' | 'floor' | 'hands' | 'unknown';
  readonly pauseAt: 'low' | 'high' | null;
  readonly measures: Readonly<Record<TruthMeasureName, TruthMeasure>>;
  /** What an analysis may be told, and what only the simulator can know. */
  readonly setting: {
    /** Floor distance from the feet to the point below the ring. */
    readonly distanceM: number;
    readonly releaseHeightM: number;
    readonly hoopHeightM: number;
    readonly aim: string;
    readonly start: string;
    /** Mean direction of the spin over the flight (x level along the launch, z up). */
    readonly spinDirection: readonly [number, number, number];
    readonly launchVelocityMps: readonly [number, number, number];
  };
}
