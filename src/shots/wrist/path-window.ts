import { standardGravityMps2 } from '../../foundation/constants.ts';
import type { ImuBlock } from '../../foundation/imu-block.ts';
import { sampleFlag } from '../../foundation/imu-block.ts';
import { rotate } from '../../signal/rotation.ts';
import type { Vec3 } from '../../signal/vec3.ts';
import type { PathMemory } from './path-columns.ts';
import { Strapdown } from './strapdown.ts';
import type { WristParams } from './wrist-params.ts';

/** Samples `[from, to)` during which the arm seems still. */
export interface Quiet {
  readonly from: number;
  readonly to: number;
}

/** What is known of sensor and attitude when a window is solved. */
export interface WindowKnowledge {
  readonly gyroBiasRadps: Vec3;
  readonly gyroBiasSdRadps: number;
  /** Vertical in the sensor's axes at sample `upAt` of the window, with its error; null when nothing is known. */
  readonly up: { readonly at: number; readonly direction: Vec3; readonly sdRad: number } | null;
}

const priors = { gyroScale: 0.01, accelBiasMps2: 0.3, velocityMps: 4, tiltRad: 0.5 } as const;

/** @returns stretches where rate and force are those of a still arm. */
export function findQuiet(block: ImuBlock, bias: Vec3, params: WristParams): Quiet[] {
  const gyro = block.gyroRadps as Float64Array;
  const { accelMps2 } = block;
  const quiet: Quiet[] = [];
  let from = -1;
  const isStill = (i: number): boolean => {
    if ((block.flags[i] as number) !== 0) return false;
    const at = 3 * i;
    const wx = (gyro[at] as number) - bias[0];
    const wy = (gyro[at + 1] as number) - bias[1];
    const wz = (gyro[at + 2] as number) - bias[2];
    if (!(Math.sqrt(wx * wx + wy * wy + wz * wz) < params.quietRateRadps)) return false;
    const x = accelMps2[at] as number;
    const y = accelMps2[at + 1] as number;
    const z = accelMps2[at + 2] as number;
    return Math.abs(Math.sqrt(x * x + y * y + z * z) - standardGravityMps2) < params.quietForceMps2;
  };
  for (let i = 0; i <= block.length; i++) {
    if (i < block.length && isStill(i)) {
      if (from < 0) from = i;
      continue;
    }
    if (from >= 0 && (block.timeS[i - 1] as number) - (block.timeS[from] as number) >= params.quietLeastS) {
      quiet.push({ from, to: i });
    }
    from = -1;
  }
  return quiet;
}

/**
 * @returns the part of a block that can be carried through from sample `at`: up to long gaps, and up to where a clipped
 *   gyroscope lost the attitude. Clipping in the snap itself is put up with: what it costs is in the errors.
 */
export function unbroken(block: ImuBlock, at: number, params: WristParams): { from: number; to: number } {
  const timeOf = (i: number): number => block.timeS[i] as number;
  const broken = (i: number): boolean => {
    const flags = block.flags[i] as number;
    if ((flags & sampleFlag.gapBefore) !== 0 && timeOf(i) - timeOf(i - 1) > params.gapBreakS) return true;
    return (flags & sampleFlag.gyroClipped) !== 0 && Math.abs(timeOf(i) - timeOf(at)) > clippedSnapS;
  };
  let from = at;
  while (from > 0 && !broken(from)) from--;
  let to = at + 1;
  while (to < block.length && !broken(to)) to++;
  return { from, to };
}

/** Clipped samples this near the snap belong to it. */
const clippedSnapS = 0.25;

/** @returns a path that is carried but not solved yet. */
export function carryPath(
  block: ImuBlock,
  snap: number,
  { gyroBiasRadps, up }: WindowKnowledge,
  memory: PathMemory,
): Strapdown {
  const path = new Strapdown(block, snap, gyroBiasRadps, null, memory);
  if (up) path.restart(rotate(path.quaternion(up.at), up.direction));
  return path;
}

/**
 * Solves a path by what is believed of the motion.
 *
 * A quiet arm has no velocity. A hand held high and still after a snap is no such anchor, for in a jump it moves with the
 * body: the caller leaves that quiet out.
 */
export function solvePath(
  path: Strapdown,
  quiet: readonly Quiet[],
  knowledge: WindowKnowledge,
  params: WristParams,
): void {
  const { block } = path;
  const { gyroBiasSdRadps, up } = knowledge;
  const known = up && rotate(path.quaternion(up.at), up.direction);
  for (let round = 0; round < 2; round++) {
    if (round > 0) path.restart();
    path.assume({ ...priors, gyroBiasRadps: gyroBiasSdRadps });
    if (up && known) path.stateUp(known, up.sdRad);
    for (const { from, to } of quiet) {
      const spanS = path.timeOf(to - 1) - path.timeOf(from);
      const slackMps = 0.02 + params.quietDriftM / spanS;
      path.stateVelocity((from + to) >> 1, null, 0, slackMps);
      path.stateUnaccelerated(from, to, 0.05 + slackMps / spanS);
    }
    const { vertical } = path;
    let lastS = Number.NEGATIVE_INFINITY;
    for (let i = 0; i < block.length; i++) {
      if (path.timeOf(i) - lastS < looseEveryS) continue;
      lastS = path.timeOf(i);
      path.statePosition(i, path.reference, vertical, -params.belowM, params.reachM);
      path.stateVelocity(i, null, 0, params.roamMps);
    }
    path.solve();
  }
}

/** How often the loose statements about height and velocity are made, s: the motion between is another one. */
const looseEveryS = 0.5;
