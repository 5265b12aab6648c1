import type { Vec3 } from '../../signal/vec3.ts';
import { add, dot, norm, scale, unit } from '../../signal/vec3.ts';
import type { MountParams } from './mount-params.ts';

/** A quiet moment: where up was in the sensor. */
export interface QuietPosture {
  readonly upInSensor: Vec3;
  readonly durationS: number;
}

/** An arm raised out of a quiet posture. */
export interface RaisedArm {
  /** Where up was before, in the sensor. */
  readonly upInSensor: Vec3;
  /** Axis of the turn in the sensor's axes of that moment, level, length 1. */
  readonly axisInSensor: Vec3;
}

/** What one shot says of the mount; all directions in the sensor's axes. */
export interface MountShot {
  /** Angular rate at release. */
  readonly rateInSensorRadps: Vec3;
  /** Angle turned about that axis from 0.2 s before to 0.2 s after release. */
  readonly forwardTurnRad: number;
  readonly upAtRelease: Vec3;
  /** Up while the follow-through is held, or null where it is not. */
  readonly upAtHold: Vec3 | null;
}

/** Quiet moments of about the same direction of up. */
export interface Posture {
  /** Sum of up vectors, each as long as its moment (s). */
  sum: [number, number, number];
  count: number;
  /** Sum of level axes about which the arm was raised from here, and their number. */
  raise: [number, number, number];
  raises: number;
}

/** Everything learnt of a mount: plain numbers, storable as JSON. */
export interface MountEvidence {
  postures: Posture[];
  /**
   * Turns to and fro by groups of about the same axis, which has no sign: sum of the swings' axes, how many swings, and the
   * squares of their distances from the axis of their own bout (rad²).
   */
  twists: { axis: [number, number, number]; count: number; squares: number }[];
  /** Sums over shots: unit rates at release, up at release and in the hold, forward turns and their squares. */
  shots: number;
  snap: [number, number, number];
  upAtRelease: [number, number, number];
  upAtHold: [number, number, number];
  holds: number;
  turnSum: number;
  turnSquares: number;
}

const mostPostures = 12;

export function initialMountEvidence(): MountEvidence {
  return {
    postures: [],
    twists: [],
    shots: 0,
    snap: [0, 0, 0],
    upAtRelease: [0, 0, 0],
    upAtHold: [0, 0, 0],
    holds: 0,
    turnSum: 0,
    turnSquares: 0,
  };
}

/** Changes `evidence`. */
export function learnQuiet(
  params: MountParams,
  evidence: MountEvidence,
  { upInSensor, durationS }: QuietPosture,
): void {
  const seconds = Math.min(durationS, params.quietMostS);
  let posture = nearest(evidence, upInSensor, params.sameRestRad);
  if (posture === null) {
    posture = { sum: [0, 0, 0], count: 0, raise: [0, 0, 0], raises: 0 };
    evidence.postures.push(posture);
  }
  posture.sum = asSum(add(posture.sum, scale(upInSensor, seconds)));
  posture.count++;
  if (evidence.postures.length <= mostPostures) return;
  // The least seen goes.
  let least = 0;
  for (let k = 1; k < evidence.postures.length; k++) {
    if (norm(evidence.postures[k]!.sum) < norm(evidence.postures[least]!.sum)) least = k;
  }
  evidence.postures.splice(least, 1);
}

/** Changes `evidence`; a raise out of a posture that was never quiet is not used. */
export function learnRaise(params: MountParams, evidence: MountEvidence, raised: RaisedArm): void {
  const posture = nearest(evidence, raised.upInSensor, params.sameRestRad);
  if (posture === null) return;
  posture.raise = asSum(add(posture.raise, raised.axisInSensor));
  posture.raises++;
}

/** Turns to and fro about one axis, of either sign. */
export interface Twists {
  readonly axisInSensor: Vec3;
  /** Number of swings and squares of their distances from the axis, rad². */
  readonly count: number;
  readonly squares: number;
}

/** Changes `evidence`. */
export function learnTwist(params: MountParams, evidence: MountEvidence, twists: Twists): void {
  const { axisInSensor, count, squares } = twists;
  const least = Math.cos(params.sameRestRad);
  for (const twist of evidence.twists) {
    const cosine = dot(unit(twist.axis), axisInSensor);
    if (Math.abs(cosine) < least) continue;
    twist.axis = asSum(add(twist.axis, scale(axisInSensor, count * Math.sign(cosine))));
    twist.count += count;
    twist.squares += squares;
    return;
  }
  evidence.twists.push({ axis: asSum(scale(axisInSensor, count)), count, squares });
  if (evidence.twists.length <= mostPostures) return;
  let fewest = 0;
  for (let k = 1; k < evidence.twists.length; k++) {
    if (evidence.twists[k]!.count < evidence.twists[fewest]!.count) fewest = k;
  }
  evidence.twists.splice(fewest, 1);
}

/** Changes `evidence`. */
export function learnMountShot(evidence: MountEvidence, shot: MountShot): void {
  evidence.shots++;
  evidence.snap = asSum(add(evidence.snap, unit(shot.rateInSensorRadps)));
  evidence.upAtRelease = asSum(add(evidence.upAtRelease, shot.upAtRelease));
  if (shot.upAtHold !== null) {
    evidence.upAtHold = asSum(add(evidence.upAtHold, shot.upAtHold));
    evidence.holds++;
  }
  evidence.turnSum += shot.forwardTurnRad;
  evidence.turnSquares += shot.forwardTurnRad ** 2;
}

function nearest(evidence: MountEvidence, up: Vec3, withinRad: number): Posture | null {
  let best: Posture | null = null;
  let most = Math.cos(withinRad);
  for (const posture of evidence.postures) {
    const cosine = dot(unit(posture.sum), up);
    if (cosine > most) {
      most = cosine;
      best = posture;
    }
  }
  return best;
}

function asSum(v: Vec3): [number, number, number] {
  return [v[0], v[1], v[2]];
}
