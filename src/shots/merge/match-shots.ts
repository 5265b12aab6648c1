import type { Shot } from '../shot.ts';
import { type HostLine, toHost } from './host-line.ts';
import type { MergeParams } from './merge-params.ts';

/** A shot as one sensor had it, with the clock of that sensor. */
export interface HeardShot {
  readonly sensorId: string;
  readonly shot: Shot;
  readonly clock: HostLine;
}

/** Release on the host's clock, or where it must have been. */
export interface HostRelease {
  readonly hostS: number;
  readonly standardErrorS: number;
}

/** @returns release of a shot on the host's clock; from its contact where release was lost; null without either. */
export function hostRelease(params: MergeParams, { shot, clock }: HeardShot): HostRelease | null {
  const { releaseS, contactS, timeErrorsS } = shot;
  if (releaseS !== null) {
    const at = toHost(clock, releaseS);
    return { hostS: at.hostS, standardErrorS: Math.hypot(at.standardErrorS, timeErrorsS.release ?? 0) };
  }
  if (contactS === null) return null;
  const at = toHost(clock, contactS - params.flightS);
  return { hostS: at.hostS, standardErrorS: Math.hypot(at.standardErrorS, params.flightSdS) };
}

/**
 * Whether two releases can be of one shot.
 *
 * @returns their distance in host seconds, or null when they lie further apart than both errors and the gate allow.
 */
export function releaseDistanceS(params: MergeParams, a: HostRelease, b: HostRelease): number | null {
  const distanceS = Math.abs(a.hostS - b.hostS);
  const errorS = Math.hypot(a.standardErrorS, b.standardErrorS, params.hostDelaySdS);
  // Written this way round because a comparison with NaN is false.
  return distanceS <= Math.max(params.gateS, 4 * errorS) ? distanceS : null;
}

/**
 * Pairs the shots of two sensors: nearest releases first, each shot once.
 *
 * @returns indices of the pairs, in the order of the first list.
 */
export function matchShots(
  params: MergeParams,
  balls: readonly HeardShot[],
  wrists: readonly HeardShot[],
): readonly { readonly ball: number; readonly wrist: number }[] {
  const near: { ball: number; wrist: number; distanceS: number }[] = [];
  const wristReleases = wrists.map((wrist) => hostRelease(params, wrist));
  for (const [ball, heard] of balls.entries()) {
    const release = hostRelease(params, heard);
    if (release === null) continue;
    for (const [wrist, other] of wristReleases.entries()) {
      const distanceS = other === null ? null : releaseDistanceS(params, release, other);
      if (distanceS !== null) near.push({ ball, wrist, distanceS });
    }
  }
  near.sort((a, b) => a.distanceS - b.distanceS || a.ball - b.ball || a.wrist - b.wrist);
  const takenBalls = new Set<number>();
  const takenWrists = new Set<number>();
  const pairs: { ball: number; wrist: number }[] = [];
  for (const { ball, wrist } of near) {
    if (takenBalls.has(ball) || takenWrists.has(wrist)) continue;
    takenBalls.add(ball);
    takenWrists.add(wrist);
    pairs.push({ ball, wrist });
  }
  return pairs.sort((a, b) => a.ball - b.ball);
}
