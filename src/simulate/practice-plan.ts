import type { GrowthShape } from './track.ts';

/** How the ball comes to the shooter. */
export type StartPlan =
  | {
      readonly kind: 'dribble';
      readonly dribbles: number;
      readonly heightM: number;
      readonly crossover: boolean;
      readonly walkMps: number;
    }
  | { readonly kind: 'bounce-pass' | 'lob-pass'; readonly distanceM: number }
  /** Where the hands meet the ball; drawn where it is left out. */
  | { readonly kind: 'chest-pass'; readonly distanceM: number; readonly catchHeightM?: number }
  | { readonly kind: 'spin-out' }
  /** Free-throw routine: dribbles, then the ball held low and still. */
  | { readonly kind: 'routine'; readonly dribbles: number; readonly stillS: number }
  /** Held long, with or without moving about, then shot. */
  | { readonly kind: 'long-hold'; readonly holdS: number; readonly swings: number }
  /** Held above the head and shot from there: no low rest. */
  | { readonly kind: 'overhead-hold'; readonly holdS: number };

/** Where the ball is aimed at. */
export type AimPlan = 'through' | 'front' | 'back' | 'board' | 'short-air' | 'wide-air' | 'long';

/**
 * A player's own manner, in place of what is drawn for any player; what is left out is drawn. Sides are toward the shooter's
 * left.
 */
export interface ShotManner {
  /** Where the hands meet the ball, beside the middle between the feet. */
  readonly pickupSideM?: number;
  /** Where a pass comes from, off the line from the ring to the player. */
  readonly passOffRad?: number;
  /** Drop of the ball from there to its lowest point, where the ball came from a dribble or a pass. */
  readonly dropM?: number;
  /** Height above the lowest point by which the ball is carried round on its way there. */
  readonly roundM?: number;
  /** Upward acceleration at the lowest point: how briskly the ball is turned round. */
  readonly turnMps2?: number;
  /** Radius of a loop, seen from above, that the ball makes on its way up; negative to the right. */
  readonly loopM?: number;
  /** Velocity to the side that the push takes away again in its last 0.1 s: the other hand's push. */
  readonly strayMps?: number;
  /** Launch speed above the least that reaches the ring from the release, whatever becomes of the aim. */
  readonly overLeastMps?: number;
}

/** One shot, with everything the player means to do. SI units, degrees and rev/s where the name says so. */
export interface ShotPlan {
  readonly kind: 'shot';
  readonly start: StartPlan;
  readonly distanceM: number;
  readonly hoopHeightM: number;
  readonly boardAngleDeg: number;
  readonly releaseHeightM: number;
  readonly launchAngleDeg: number;
  readonly aim: AimPlan;
  /** Added to the aimed depth and to the side. */
  readonly depthErrorM: number;
  readonly sideErrorM: number;
  readonly spinRps: number;
  readonly axisTiltDeg: number;
  /** Angle of the spin axis from the plane across the launch direction; 90 is pure rifle spin. */
  readonly rifleDeg: number;
  /** `one`: the ball passes the set point moving; `two`: it stops there. */
  readonly motion: 'one' | 'two';
  /** Lowest height of the ball before the lift. */
  readonly dipHeightM: number;
  /** Side offset of the ball at the lowest point, toward the shooter's left. */
  readonly dipSideM: number;
  readonly gatherS: number;
  readonly lowPauseS: number;
  readonly liftS: number;
  readonly highPauseS: number;
  /** Set point below the release height, as near as a push of at least 85 ms allows. */
  readonly setDropM: number;
  readonly spinUpS: number;
  readonly fadeS: number;
  readonly fadeShape: GrowthShape;
  readonly pushMps2: number;
  readonly sidePushMps2: number;
  readonly gatherTurnRadps: number;
  readonly afterPlayS: number;
  readonly manner?: ShotManner;
}

export const decoyKinds = [
  'chest-pass',
  'bounce-pass',
  'lob-pass',
  'self-toss',
  'thrown-up',
  'spin-out',
  'carry',
  'roll',
  'hand-to-hand',
  'pump-fake',
  'dribbling',
  'drop',
  'slam',
  'kick',
] as const;
export type DecoyKind = (typeof decoyKinds)[number];

/** One act that is no shot; `size` from 0 to 1 says how big it is within its kind. */
export interface DecoyPlan {
  readonly kind: DecoyKind;
  readonly size: number;
}

/** Nothing happens: the ball lies in the hands or on the floor. */
export interface IdlePlan {
  readonly kind: 'idle';
  readonly durationS: number;
}

export type ActPlan = ShotPlan | DecoyPlan | IdlePlan;
