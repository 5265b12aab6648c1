import type { NullReason } from '../../foundation/measured.ts';
import { dot, norm } from '../../signal/vec3.ts';
import type { StartKind } from '../shot.ts';
import { findImpacts, type Impact } from './impacts.ts';
import type { Motion, Strapdown } from './strapdown.ts';
import type { WristParams } from './wrist-params.ts';

/** How a shot began. */
export interface WristStart {
  readonly kind: StartKind;
  readonly pickupS: number | null;
  readonly errorS: number;
  readonly reason: NullReason | null;
  /** Blows before the release, in order. */
  readonly impacts: readonly Impact[];
}

const stillMps = 0.1;

/**
 * Tells from the motion before the lift where the ball came from: blows in a rhythm are a dribble, a single one is a catch,
 * none for long, or a hand that waits low, is a ball that was held.
 *
 * @param releaseS release.
 */
export function findStart(path: Strapdown, motion: Motion, releaseS: number, params: WristParams): WristStart {
  const { up } = motion;
  const release = path.reference;
  const height = (i: number): number => dot(motion.positionM(i), up) - dot(motion.positionM(release), up);
  const speed = (i: number): number => dot(motion.velocityMps(i), up);
  const impacts = findImpacts(path.block, params).filter(({ peak }) => path.timeOf(peak) < releaseS - leastPickupS);
  const last = impacts[impacts.length - 1];
  let lastStill: number | null = null;
  let stillFrom: number | null = null;
  let longestStillS = 0;
  for (let i = 0; path.timeOf(i) < releaseS; i++) {
    const low = height(i) < -params.lowM;
    if (!low || Math.abs(speed(i)) > stillMps) {
      stillFrom = null;
      continue;
    }
    lastStill = i;
    stillFrom ??= i;
    const afterBlow = !last || stillFrom > last.peak;
    if (afterBlow && norm(motion.velocityMps(i)) < 2 * stillMps + 0.1) {
      longestStillS = Math.max(longestStillS, path.timeOf(i) - path.timeOf(stillFrom));
    }
  }
  const sinceBlowS = last ? releaseS - path.timeOf(last.peak) : releaseS - path.timeOf(0);
  if (longestStillS >= params.stillHoldS || sinceBlowS >= params.holdS + usualLiftS) {
    if (lastStill === null) {
      return { kind: 'hold', pickupS: null, errorS: 0, reason: 'no-low-rest', impacts };
    }
    return { kind: 'hold', pickupS: path.timeOf(lastStill), errorS: 0.02, reason: null, impacts };
  }
  if (!last) return { kind: 'unknown', pickupS: null, errorS: 0, reason: 'no-previous-flight', impacts };
  const before = impacts[impacts.length - 2];
  const gapS = before ? path.timeOf(last.peak) - path.timeOf(before.peak) : Number.POSITIVE_INFINITY;
  const kind = gapS < longestDribbleS ? 'dribble' : 'catch';
  return { kind, pickupS: path.timeOf(last.start), errorS: 0.012, reason: null, impacts };
}

/** Nothing this close before the release is a pickup. */
const leastPickupS = 0.2;
/** From the low ball to release, where the definition of a hold counts from the lift. */
const usualLiftS = 0.4;
/** Two blows further apart are no dribble. */
const longestDribbleS = 1;
