import type { ImuBlock } from '../../foundation/imu-block.ts';
import type { Vec3 } from '../../signal/vec3.ts';
import { judgeMovement, type Verdict } from './judge.ts';
import { type Movement, readMovement } from './movement.ts';
import type { PathMemory } from './path-columns.ts';
import type { Motion } from './path-motion.ts';
import { carryPath, findQuiet, type Quiet, solvePath, unbroken, type WindowKnowledge } from './path-window.ts';
import type { Strapdown } from './strapdown.ts';
import type { WristParams } from './wrist-params.ts';

/** A snap with its path and what it was. Sample numbers are those of `path.block`. */
export interface SnapStudy {
  readonly path: Strapdown;
  readonly motion: Motion;
  readonly quiet: readonly Quiet[];
  /** What the path was solved by. */
  readonly knowledge: WindowKnowledge;
  readonly movement: Movement;
  readonly verdict: Verdict;
}

/**
 * Solves the path about a snap and judges it.
 *
 * @param block samples about the snap.
 * @param snap its sample in the block.
 * @param longAxis direction of forearm or hand in the sensor's axes, null where it is not known.
 * @param memory where the path may lie; a study that lay there before is lost.
 * @returns null when there is too little unbroken motion about the snap to tell anything.
 */
export function studySnap(
  block: ImuBlock,
  snap: number,
  knowledge: WindowKnowledge,
  longAxis: Vec3 | null,
  params: WristParams,
  memory: PathMemory,
): SnapStudy | null {
  const { from, to } = unbroken(block, snap, params);
  const part = subBlock(block, from, to);
  const at = snap - from;
  const timeOf = (i: number): number => part.timeS[i] as number;
  if (timeOf(at) - timeOf(0) < leastBeforeS || timeOf(part.length - 1) - timeOf(at) < leastAfterS) return null;
  const { up } = knowledge;
  const upHere = up && up.at >= from && up.at < to ? { ...up, at: up.at - from } : null;
  const here = { ...knowledge, up: upHere };
  const path = carryPath(part, at, here, memory);
  const all = findQuiet(part, knowledge.gyroBiasRadps, params);
  // First without what follows the snap: only then is it known when the hand has come down.
  const before = all.filter((quiet) => quiet.to <= at);
  solvePath(path, before, here, params);
  const soFar = path.motion();
  const after = all.filter((quiet) => quiet.from > at && hasComeDown(path, soFar, quiet, params));
  const quiet = [...before, ...after];
  if (after.length > 0) {
    path.restart();
    solvePath(path, quiet, here, params);
  }
  const motion = path.motion();
  const movement = readMovement(path, motion, longAxis, params);
  return { path, motion, quiet, knowledge: here, movement, verdict: judgeMovement(movement, params) };
}

/**
 * Solves the path of a shot again to read numbers off it: a hand stays where it is, hanging or at the chest, for a second or two, so of
 * the loose statements of its height that lie twice a second four say what one would. Believed one by one they pulled the speed of hands that
 * are lower than usual by 0.1 m/s. A movement is judged with them, as the limits of judging were found.
 *
 * @returns the study with that path; motions that were read before are no longer good.
 */
export function solveForNumbers(study: SnapStudy, params: WristParams): SnapStudy {
  const { path, quiet, knowledge } = study;
  path.restart();
  solvePath(path, quiet, knowledge, { ...params, reachM: params.reachM * Math.sqrt(alikeStatements) });
  return { ...study, motion: path.motion() };
}

/** So many of the loose statements about height say the same. */
const alikeStatements = 4;

const leastBeforeS = 0.35;
const leastAfterS = 0.35;

/** A hand is down again when it is lower than at the snap by more than a jump could explain, or late. */
function hasComeDown(path: Strapdown, motion: Motion, { from, to }: Quiet, params: WristParams): boolean {
  const sinceS = path.timeOf(from) - path.timeOf(path.reference);
  return sinceS > params.landedS || motion.heightM((from + to) >> 1) < -params.landedDropM;
}

/** @returns samples `[from, to)` of a block, sharing its memory. */
export function subBlock(block: ImuBlock, from: number, to: number): ImuBlock {
  return {
    length: to - from,
    timeS: block.timeS.subarray(from, to),
    accelMps2: block.accelMps2.subarray(3 * from, 3 * to),
    gyroRadps: block.gyroRadps ? block.gyroRadps.subarray(3 * from, 3 * to) : null,
    flags: block.flags.subarray(from, to),
  };
}
