/**
 * Watches a stream for what tells how the sensor sits: quiet postures, arms raised out of them, turns to and fro.
 *
 * Start-up: none. Latency: a quiet moment is told at its end, a raise when it has turned gravity by 40°, a turn at the end of
 * its window of a second.
 */
import { standardGravityMps2 } from '../../foundation/constants.ts';
import type { ImuBlock } from '../../foundation/imu-block.ts';
import { sampleFlag } from '../../foundation/imu-block.ts';
import { multiply, type Quaternion, rotate, stepRotation } from '../../signal/rotation.ts';
import { dot, norm, scale, subtract, unit, type Vec3 } from '../../signal/vec3.ts';
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
  /**
   * Window of a turn to and fro: start, products of the rate, its integral and the largest excursion of that, and the
   * squares of the force beyond gravity and of the angular acceleration.
   */
  turn: {
    fromS: number;
    products: number[];
    angle: number[];
    reach: number;
    forceSquares: number;
    twistSquares: number;
  } | null;
}

const raiseRad = 0.7;
const raiseWithinS = 2;
const turnWindowS = 1;

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
    state.turn = null;
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
    followTurn(params, state, timeS, before, rate, norm(force) - standardGravityMps2, stepS);
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

function followTurn(
  params: MountParams,
  state: MountObserverState,
  timeS: number,
  before: Vec3,
  rate: Vec3,
  beyondGravityMps2: number,
  stepS: number,
): void {
  state.turn ??= {
    fromS: timeS,
    products: [0, 0, 0, 0, 0, 0],
    angle: [0, 0, 0],
    reach: 0,
    forceSquares: 0,
    twistSquares: 0,
  };
  const turn = state.turn;
  const [x, y, z] = rate;
  for (const [k, value] of [x * x, x * y, x * z, y * y, y * z, z * z].entries()) {
    turn.products[k] = turn.products[k]! + value * stepS;
  }
  for (let k = 0; k < 3; k++) turn.angle[k] = turn.angle[k]! + rate[k]! * stepS;
  turn.forceSquares += beyondGravityMps2 ** 2 * stepS;
  turn.twistSquares += (norm(subtract(rate, before)) / stepS) ** 2 * stepS;
  turn.reach = Math.max(turn.reach, norm(turn.angle as unknown as Vec3));
  const seconds = timeS - turn.fromS;
  if (seconds < turnWindowS) return;
  state.turn = null;
  const [xx, , , yy, , zz] = turn.products as [number, number, number, number, number, number];
  const all = xx + yy + zz;
  // To and fro: what was turned comes back, unlike in the swing of a whole arm.
  if (all < params.twistRateRadps ** 2 * seconds || norm(turn.angle as unknown as Vec3) > 0.7 * turn.reach) return;
  // About itself, a forearm hardly moves the sensor on it; about the elbow or shoulder it swings it on a long lever.
  if (turn.forceSquares > params.twistLeverM ** 2 * turn.twistSquares) return;
  const { axis, share } = mainAxis(turn.products);
  if (share >= params.twistShare) learnTwist(params, state.evidence, axis);
}

/** Largest eigenvector of a symmetric 3 × 3 matrix by the power method, and its share of the trace. */
function mainAxis(products: readonly number[]): { axis: Vec3; share: number } {
  const [xx, xy, xz, yy, yz, zz] = products as [number, number, number, number, number, number];
  const times = ([x, y, z]: Vec3): Vec3 => [
    xx * x + xy * y + xz * z,
    xy * x + yy * y + yz * z,
    xz * x + yz * y + zz * z,
  ];
  let axis: Vec3 = xx >= yy && xx >= zz ? [1, 0, 0] : yy >= zz ? [0, 1, 0] : [0, 0, 1];
  // Shares above 0.9 gain a digit a round.
  for (let round = 0; round < 40; round++) axis = unit(times(axis), axis);
  return { axis, share: dot(axis, times(axis)) / (xx + yy + zz) };
}
