import type { Quat, Vec3 } from './vectors.ts';

/**
 * Layout of one instant of the ball's motion in a Float64Array of `size` numbers, room frame: x and y level, z up.
 * Position m, velocity m/s, acceleration m/s², attitude (ball to room, w x y z), angular rate rad/s and its rate rad/s²,
 * the last two in room axes.
 */
export const stateLayout = {
  position: 0,
  velocity: 3,
  acceleration: 6,
  attitude: 9,
  rate: 13,
  rateChange: 16,
  size: 19,
} as const;

export type SurfaceName = 'floor' | 'ring' | 'board' | 'net';

/** What touches the ball. */
export type Touch = 'hand' | 'free' | SurfaceName;

/** One stretch of motion under one kind of contact. Closed at both ends; neighbours agree where they meet. */
export interface MotionSegment {
  readonly startS: number;
  readonly endS: number;
  readonly touch: Touch;
  /** Writes the state at `timeS` (session seconds, within the segment) into `out`. */
  stateAt(timeS: number, out: Float64Array): void;
}

export function newState(): Float64Array {
  const state = new Float64Array(stateLayout.size);
  state[stateLayout.attitude] = 1;
  return state;
}

export function vectorAt(state: Float64Array, at: number): Vec3 {
  return [state[at] as number, state[at + 1] as number, state[at + 2] as number];
}

export function attitudeOf(state: Float64Array): Quat {
  const q = stateLayout.attitude;
  return [state[q] as number, state[q + 1] as number, state[q + 2] as number, state[q + 3] as number];
}

export function setVector(state: Float64Array, at: number, value: readonly number[]): void {
  for (let i = 0; i < value.length; i++) state[at + i] = value[i] as number;
}
