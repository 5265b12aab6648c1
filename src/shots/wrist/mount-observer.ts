/**
 * Watches a stream for what tells how the sensor sits: quiet postures, arms raised out of them, turns to and fro.
 *
 * Start-up: none. Latency: a quiet moment is told at its end, a raise when it has turned gravity by 40°, turns to and fro
 * `turnPauseS` after the last of them.
 */
import { standardGravityMps2 } from '../../foundation/constants.ts';
import type { ImuBlock } from '../../foundation/imu-block.ts';
import { sampleFlag } from '../../foundation/imu-block.ts';
import { multiply, type Quaternion, rotate, stepRotation } from '../../signal/rotation.ts';
import { add, dot, norm, scale, subtract, unit, type Vec3 } from '../../signal/vec3.ts';
import { initialMountEvidence, learnQuiet, learnRaise, learnTwist, type MountEvidence } from './mount-evidence.ts';
import type { MountParams } from './mount-params.ts';

/** Everything the observer remembers: plain numbers, storable as JSON and resumable. */
export interface MountObserverState {
  evidence: MountEvidence;
  last: { timeS: number; rate: number[] } | null;
  /** The running quiet: start, number and sum of its forces; null in motion. */
  quiet: { fromS: number; count: number; force: number[] } | null;
  /** After a quiet moment: up then, and the turn since, from then to now in the axes of then. */
  raise: { fromS: number; up: number[]; turn: number[] } | null;
  /** Turns to and fro that are going on. */
  turn: TurnBout | null;
}

/**
 * Turns to and fro: the swing that is going on (integral of the rate, rad), the sums of the finished ones (axes of one sign, their number
 * and outer products), and the squares of the force beyond gravity and of the angular acceleration.
 */
export interface TurnBout {
  fromS: number;
  lastS: number;
  /** Sum of the forces while it goes on. */
  force: number[];
  swing: number[];
  axis: number[];
  swings: number;
  outer: number[];
  forceSquares: number;
  twistSquares: number;
}

const raiseRad = 0.7;
const raiseWithinS = 2;
/** Turns to and fro rest at either end no longer than this, and go on over a gap no longer than that. */
const turnPauseS = 1.5;
const turnGapS = 0.25;
/** To, fro and to again: less is no turning to and fro. */
const swingsOfBout = 3;

export function initialMountObserver(): MountObserverState {
  return { evidence: initialMountEvidence(), last: null, quiet: null, raise: null, turn: null };
}

/**
 * Takes sample `i`; changes `state`, whose `evidence` is for `estimateMount`.
 *
 * @param gyroBiasRadps to subtract from the gyroscope.
 * @throws RangeError when the block has no gyroscope.
 */
export function stepMountObserver(
  params: MountParams,
  state: MountObserverState,
  block: ImuBlock,
  i: number,
  gyroBiasRadps: readonly number[],
): void {
  const { gyroRadps, accelMps2 } = block;
  if (gyroRadps === null) throw new RangeError('the mount needs a gyroscope: this block has none');
  const at = 3 * i;
  const timeS = block.timeS[i]!;
  const flags = block.flags[i]!;
  const rate: Vec3 = [
    gyroRadps[at]! - gyroBiasRadps[0]!,
    gyroRadps[at + 1]! - gyroBiasRadps[1]!,
    gyroRadps[at + 2]! - gyroBiasRadps[2]!,
  ];
  const force: Vec3 = [accelMps2[at]!, accelMps2[at + 1]!, accelMps2[at + 2]!];
  if (flags & sampleFlag.gapBefore) {
    endQuiet(params, state);
    state.raise = null;
    const lostS = state.last === null ? 0 : timeS - state.last.timeS;
    // A lost packet is shorter than a swing: between its ends the rate is nearly a straight line.
    if (state.last !== null && lostS <= turnGapS) followTurn(params, state, timeS, rate, force, lostS, true);
    else endTurns(params, state);
    state.last = null;
  }
  const { last } = state;
  const stepS = last === null ? 0 : timeS - last.timeS;
  const quiet =
    norm(rate) < params.quietRateRadps && Math.abs(norm(force) - standardGravityMps2) < params.quietForceMps2;
  if (quiet) {
    state.quiet ??= { fromS: timeS, count: 0, force: [0, 0, 0] };
    state.quiet.count++;
    for (let k = 0; k < 3; k++) state.quiet.force[k] = state.quiet.force[k]! + force[k]!;
  } else if (state.quiet !== null) endQuiet(params, state);
  if (last !== null) {
    const before = last.rate as unknown as Vec3;
    if (state.raise !== null) followRaise(params, state, timeS, before, rate, stepS);
    followTurn(params, state, timeS, rate, force, stepS, false);
  }
  state.last = { timeS, rate: [rate[0], rate[1], rate[2]] };
}

/** Ends a running quiet moment at the last sample and learns from it. */
export function endQuiet(params: MountParams, state: MountObserverState): void {
  const { quiet, last } = state;
  state.quiet = null;
  if (quiet === null || last === null) return;
  const durationS = last.timeS - quiet.fromS;
  if (durationS < params.quietLeastS) return;
  const up = unit(quiet.force as unknown as Vec3);
  learnQuiet(params, state.evidence, { upInSensor: up, durationS });
  state.raise = { fromS: last.timeS, up: [...up], turn: [1, 0, 0, 0] };
}

function followRaise(
  params: MountParams,
  state: MountObserverState,
  timeS: number,
  before: Vec3,
  rate: Vec3,
  stepS: number,
): void {
  const raise = state.raise!;
  const turn = multiply(raise.turn as unknown as Quaternion, stepRotation(before, rate, stepS));
  raise.turn = [...turn];
  const up = raise.up as unknown as Vec3;
  // The sensor's axis that pointed up at first, where it points now in the axes of then.
  if (dot(rotate(turn, up), up) < Math.cos(raiseRad)) {
    const sign = turn[0] < 0 ? -1 : 1;
    const vector: Vec3 = [sign * turn[1], sign * turn[2], sign * turn[3]];
    const level = subtract(vector, scale(up, dot(vector, up)));
    learnRaise(params, state.evidence, { upInSensor: up, axisInSensor: unit(level) });
    state.raise = null;
  } else if (timeS - raise.fromS > raiseWithinS) state.raise = null;
}

/** @param afterGap true where samples were lost before this one. */
function followTurn(
  params: MountParams,
  state: MountObserverState,
  timeS: number,
  rate: Vec3,
  force: Vec3,
  stepS: number,
  afterGap: boolean,
): void {
  const before = state.last!.rate as unknown as Vec3;
  const step = scale(add(before, rate), stepS / 2);
  const fast = norm(rate) >= params.twistRateRadps;
  if (state.turn === null && !fast) return;
  state.turn ??= {
    fromS: timeS,
    lastS: timeS,
    force: [0, 0, 0],
    swing: [0, 0, 0],
    axis: [0, 0, 0],
    swings: 0,
    outer: [0, 0, 0, 0, 0, 0],
    forceSquares: 0,
    twistSquares: 0,
  };
  const turn = state.turn;
  turn.force = [...add(turn.force as unknown as Vec3, scale(force, stepS))];
  if (!afterGap) {
    turn.forceSquares += (norm(force) - standardGravityMps2) ** 2 * stepS;
    turn.twistSquares += norm(subtract(rate, before)) ** 2 / stepS;
  }
  const swing = turn.swing as unknown as Vec3;
  if (fast) {
    turn.lastS = timeS;
    // A swing ends where the rate points against it, and one that points elsewhere is another movement.
    const along = norm(swing) > 0.3 ? dot(unit(swing), unit(rate)) : 1;
    if (along < 0) endSwing(params, state);
    if (along > -params.twistShare && along < params.twistShare) {
      endTurns(params, state);
      return;
    }
  } else if (timeS - turn.lastS > turnPauseS) {
    endTurns(params, state);
    return;
  }
  turn.swing = [...add(turn.swing as unknown as Vec3, step)];
}

/** Takes a finished swing into its bout. */
function endSwing(params: MountParams, state: MountObserverState): void {
  const turn = state.turn!;
  const swing = turn.swing as unknown as Vec3;
  turn.swing = [0, 0, 0];
  if (norm(swing) < params.twistLeastRad) return;
  const sum = turn.axis as unknown as Vec3;
  const [x, y, z] = dot(sum, swing) < 0 ? scale(unit(swing), -1) : unit(swing);
  turn.axis = [...add(sum, [x, y, z])];
  turn.swings++;
  for (const [k, value] of [x * x, x * y, x * z, y * y, y * z, z * z].entries()) turn.outer[k] = turn.outer[k]! + value;
}

/** Ends running turns to and fro and learns from them. */
export function endTurns(params: MountParams, state: MountObserverState): void {
  if (state.turn === null) return;
  endSwing(params, state);
  const turn = state.turn;
  state.turn = null;
  if (turn.swings < swingsOfBout) return;
  // About itself, a forearm hardly moves the sensor on it; about the elbow or shoulder it swings it on a long lever.
  if (turn.forceSquares > params.twistLeverM ** 2 * turn.twistSquares) return;
  const axis = unit(turn.axis as unknown as Vec3);
  // Mean square of the swings' distance from the common axis.
  const [xx, xy, xz, yy, yz, zz] = turn.outer as [number, number, number, number, number, number];
  const [x, y, z] = axis;
  const along = x * x * xx + y * y * yy + z * z * zz + 2 * (x * y * xy + x * z * xz + y * z * yz);
  learnTwist(params, state.evidence, { axisInSensor: axis, count: turn.swings, squares: turn.swings - along });
  // The arm hangs while it turns: on average its forces tell which end of the axis is up, also where nothing is ever quiet.
  learnQuiet(params, state.evidence, {
    upInSensor: unit(turn.force as unknown as Vec3),
    durationS: turn.lastS - turn.fromS,
  });
}
