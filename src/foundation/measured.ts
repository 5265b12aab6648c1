/**
 * A number with its doubt, or the reason why there is none. A guess is never a `Measured` value.
 */
export type Measured = MeasuredValue | MeasuredNull;

export interface MeasuredValue {
  readonly value: number;
  /** One standard error, in the unit of `value`. */
  readonly standardError: number;
  /** 90 % interval where the error is lopsided; otherwise value ± 1.645 standardError. */
  readonly interval90?: readonly [number, number];
  /** Which sensor or model the value came from, where more than one could give it. */
  readonly source?: string;
  readonly flags?: readonly string[];
}

export interface MeasuredNull {
  readonly value: null;
  readonly reason: NullReason;
}

/** Every reason for a missing number, with the sentence a person reads. */
export const nullReasons = {
  gap: 'samples were lost at the moment this needs',
  clipped: 'the sensor reached the end of its range',
  'no-gyro': 'the recording has no gyroscope',
  'no-gravity-reference': 'the direction of gravity was not known well enough',
  'no-heading-reference': 'an inertial sensor cannot know the compass direction of the ring',
  'no-ring-reference': 'the height of the ring above release was not known',
  'no-distance': 'the distance to the ring was not given',
  'no-low-rest': 'the ball was never still low enough to start the clock',
  'no-pickup-event': 'the ball was in the hands from the start, so there is no pickup to measure from',
  'no-previous-flight': 'what the ball did before it came to the hands was not seen',
  'no-contact': 'the end of the flight was not seen',
  'no-rise-before-release': 'no rise of the ball before release was seen',
  'near-sideways-axis': 'the spin axis stands so far from level that one tilt angle says little; see the components',
  'spin-too-slow': 'the spin was too slow for its axis to mean anything',
  'flight-too-short': 'the flight was too short to measure this',
  'poor-fit': 'the flight did not follow the physics of a thrown ball closely enough',
  'too-early': 'a quarter of a second of flight cannot know this yet',
  'not-observable-from-wrist': 'a sensor on the wrist cannot see this',
  'not-observable-from-this-mount':
    'a sensor at this place on the arm cannot see this: above the wrist it does not see the hand, on the back of the hand not the forearm',
  'not-observable-from-ball': 'a sensor in the ball cannot see this',
  'no-landing': 'no landing was seen after the shot',
  'no-still-hand': 'the hand did not come to rest after the shot',
  'no-release-seen': 'the moment at which the ball left the hand did not show',
  'mount-unknown':
    'how the sensor sits on the arm is not known yet; it is learnt from a few shots and a moment with the arm hanging',
  'forearm-not-turned':
    'where the forearm points in the sensor is not known well enough: let the arm hang and turn the forearm to and fro three times or more',
} as const;

export type NullReason = keyof typeof nullReasons;

/** @returns a value with its standard error, frozen. */
export function measured(
  value: number,
  standardError: number,
  more: Omit<MeasuredValue, 'value' | 'standardError'> = {},
): MeasuredValue {
  return Object.freeze({ value, standardError, ...more });
}

/** @returns the absence of a value with its reason, frozen. */
export function notMeasured(reason: NullReason): MeasuredNull {
  return Object.freeze({ value: null, reason });
}
