/**
 * How strongly each fault is built into the simulated shooter for the end-to-end proof of the rules: three strengths in
 * physical units, weak to strong. Written down before the rules were, and not to be changed by how the rules do on them.
 *
 * `added` numbers come on top of the player's clean shot, the others replace its value.
 */
export interface FaultStrength {
  readonly fault: string;
  /** What is changed in the shooter, in words. */
  readonly change: string;
  readonly unit: string;
  readonly how: 'added' | 'instead';
  readonly strengths: readonly [number, number, number];
  /** A second change that goes with it, with its strengths. */
  readonly with?: {
    readonly change: string;
    readonly unit: string;
    readonly strengths: readonly [number, number, number];
  };
}

export const faultStrengths: readonly FaultStrength[] = [
  {
    fault: 'off-hand-push',
    change: 'sideways impulse of the other hand in the last 80 ms',
    unit: 'm/s',
    how: 'added',
    strengths: [0.3, 0.5, 0.8],
    with: { change: 'tilt of the spin axis', unit: 'deg', strengths: [8, 15, 25] },
  },
  { fault: 'side-flick', change: 'tilt of the spin axis', unit: 'deg', how: 'added', strengths: [8, 15, 25] },
  {
    fault: 'low-finish',
    change: 'forearm elevation at release lowered',
    unit: 'deg',
    how: 'added',
    strengths: [15, 22, 30],
  },
  {
    fault: 'hard-flat-touch',
    change: 'launch speed above the least speed to the ring',
    unit: 'm/s',
    how: 'instead',
    strengths: [0.5, 0.8, 1.2],
    with: { change: 'launch angle lowered', unit: 'deg', strengths: [6, 9, 12] },
  },
  { fault: 'weak-backspin', change: 'backspin', unit: 'rev/s', how: 'instead', strengths: [1, 0.75, 0.5] },
  {
    fault: 'slow-pickup',
    change: 'time between pickup and lift',
    unit: 's',
    how: 'added',
    strengths: [0.25, 0.4, 0.7],
  },
  {
    fault: 'two-part',
    change: 'stop of the ball on its way up',
    unit: 's',
    how: 'added',
    strengths: [0.08, 0.15, 0.3],
  },
  {
    fault: 'across-body',
    change: 'way of the ball to the side at pickup',
    unit: 'm',
    how: 'instead',
    strengths: [0.3, 0.4, 0.5],
  },
  {
    fault: 'deep-dip',
    change: 'drop of the ball from pickup to lift',
    unit: 'm',
    how: 'instead',
    strengths: [0.4, 0.5, 0.65],
  },
  {
    fault: 'short-follow-through',
    change: 'time that the hand stays up',
    unit: 's',
    how: 'instead',
    strengths: [0.2, 0.12, 0.06],
  },
  {
    fault: 'turn-in-air',
    change: 'turn about the vertical from take-off to landing',
    unit: 'deg',
    how: 'added',
    strengths: [20, 30, 45],
  },
  {
    fault: 'off-line-push',
    change: 'path of the wrist beside one plane, over its length',
    unit: '1',
    how: 'added',
    strengths: [0.05, 0.08, 0.12],
  },
  {
    fault: 'uneven-starts',
    change: 'lift to release of shots from a hold longer than of the others',
    unit: 's',
    how: 'added',
    strengths: [0.15, 0.25, 0.4],
  },
  { fault: 'tired-drift', change: 'launch angle lost over 50 shots', unit: 'deg', how: 'added', strengths: [6, 9, 12] },
  {
    fault: 'out-of-range',
    change: 'lift to release beyond the distance that the player has in range',
    unit: 's',
    how: 'added',
    strengths: [0.15, 0.25, 0.4],
  },
];
