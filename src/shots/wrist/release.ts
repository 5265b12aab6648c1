import { dot, norm, unit } from '../../signal/vec3.ts';
import type { ArmMount } from '../shot.ts';
import type { Movement } from './movement.ts';
import type { Motion } from './path-motion.ts';
import { estimateReactionLoss } from './reaction-loss.ts';
import type { Strapdown } from './strapdown.ts';
import type { WristParams } from './wrist-params.ts';

/** An instant with its standard error, s. */
export interface Instant {
  readonly timeS: number;
  readonly errorS: number;
}

const look = { beforeS: 0.02, afterS: 0.1, besideS: 0.06, afterSnapS: 0.03 } as const;
/** An arm that snaps later than this after the hand was fastest says by neither when the ball left. */
const lateSnapS = 0.12;

/**
 * Release, from the loss of the ball's reaction along the push.
 *
 * It is looked for about the time at which the fingers let go as a rule: a little after the wrist was fastest; on the back of the
 * hand also by the turn rate, which grows as long as the fingers push and is greatest when the ball is gone.
 *
 * @returns null when too few samples are about it.
 */
export function estimateRelease(
  path: Strapdown,
  motion: Motion,
  movement: Movement,
  mount: ArmMount | null,
  filterDelayS: number,
  params: WristParams,
): Instant | null {
  const fastestS = path.timeOf(movement.fastest);
  const usualS = fastestS + params.releaseAfterFastestS;
  const peak = mount === 'back-of-hand' ? peakTime(path, movement.snap) : null;
  const peakSpreadS = Math.hypot(params.snapPeakLagSpreadS, peak?.errorS ?? 0);
  const spreadS = Math.hypot(params.releaseAfterFastestSpreadS, Math.max(0, movement.snapDelayS - lateSnapS));
  const toS = fastestS + Math.max(look.afterS, movement.snapDelayS + look.afterSnapS);
  const logPrior = (timeS: number): number => {
    const byTravel = (timeS - usualS) / spreadS;
    const byTurn = peak ? (timeS - peak.timeS + params.snapPeakLagS) / peakSpreadS : 0;
    return -0.5 * (byTravel * byTravel + byTurn * byTurn);
  };
  const ahead = unit(motion.velocityMps(movement.fastest));
  const timeS: number[] = [];
  const alongMps2: number[] = [];
  for (let i = 0; i < path.block.length; i++) {
    const t = path.timeOf(i);
    if (t < fastestS - look.beforeS - look.besideS || t > toS + look.besideS) continue;
    timeS.push(t);
    alongMps2.push(dot(motion.accelerationMps2(i), ahead));
  }
  const loss = estimateReactionLoss({ timeS, alongMps2, filterDelayS }, fastestS - look.beforeS, toS, {
    windowS: params.reactionWindowS,
    missShare: params.reactionMissShare,
    trust: params.reactionTrust,
    logPrior,
  });
  return loss && { timeS: loss.timeS, errorS: Math.hypot(loss.errorS, params.releaseLeastErrorS) };
}

function peakTime(path: Strapdown, snap: number): Instant {
  const rate = (i: number): number => norm(path.rateInSensor(i));
  if (snap < 1 || snap > path.block.length - 2) return { timeS: path.timeOf(snap), errorS: 0.02 };
  const [a, b, c] = [rate(snap - 1), rate(snap), rate(snap + 1)];
  const bend = a - 2 * b + c;
  const stepS = (path.timeOf(snap + 1) - path.timeOf(snap - 1)) / 2;
  return { timeS: path.timeOf(snap) + (bend < 0 ? (0.5 * (a - c)) / bend : 0) * stepS, errorS: 0.2 * stepS };
}
