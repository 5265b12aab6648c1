import { type ImuBlock, sampleFlag } from '../../foundation/imu-block.ts';
import { add, norm, scale, subtract, type Vec3, vecAt } from '../../signal/vec3.ts';
import type { Walk } from './walk-back.ts';

/** One standard deviation of a step in velocity that the samples of a walk do not show, in the frame of the walk. */
export interface StepDoubt {
  /** Entry of the walk right behind it. */
  readonly entry: number;
  readonly atS: number;
  readonly velocityMps: Vec3;
}

/** What a gap's cubic may miss: a share of the force's change across it, and a share of what it adds to a straight line. */
const gapShares = { change: 0.03, bend: 0.4 } as const;
/** Share of the force by which a clipped sample falls short on the mean. */
const clippedShare = 0.2;

/**
 * @param from sample at which the walk starts.
 * @param sinceS where the doubts stop to matter.
 * @returns what lost and clipped samples hide on the way from `sinceS` to the walk's start, latest first.
 */
export function stepDoubts(block: ImuBlock, walk: Walk, from: number, sinceS: number): StepDoubt[] {
  const doubts: StepDoubt[] = [];
  const force = (k: number): Vec3 => vecAt(walk.forceMps2, k);
  const timeS = (k: number): number => walk.timeS[k] as number;
  let clipped: Vec3 = [0, 0, 0];
  for (let k = 1; k < walk.length && timeS(k) > sinceS; k++) {
    const i = from - k;
    const lengthS = timeS(k - 1) - timeS(k);
    const gap = ((block.flags[i + 1] as number) & sampleFlag.gapBefore) !== 0;
    if (((block.flags[i] as number) & sampleFlag.accelClipped) !== 0) {
      clipped = add(clipped, scale(force(k), clippedShare * lengthS));
    } else if (norm(clipped) > 0) {
      doubts.push({ entry: k - 1, atS: timeS(k), velocityMps: clipped });
      clipped = [0, 0, 0];
    }
    if (!gap) continue;
    let sizeMps = gapShares.change * norm(subtract(force(k - 1), force(k))) * lengthS;
    if (k >= 2 && k + 1 < walk.length) {
      const late = scale(subtract(force(k - 2), force(k - 1)), 1 / (timeS(k - 2) - timeS(k - 1)));
      const early = scale(subtract(force(k), force(k + 1)), 1 / (timeS(k) - timeS(k + 1)));
      const bendMps = ((lengthS * lengthS) / 12) * norm(subtract(early, late));
      const most = 0.25 * lengthS * Math.max(norm(force(k - 1)), norm(force(k)));
      sizeMps += gapShares.bend * Math.min(bendMps, most);
    }
    const atS = (timeS(k - 1) + timeS(k)) / 2;
    for (const velocityMps of [
      [sizeMps, 0, 0],
      [0, sizeMps, 0],
      [0, 0, sizeMps],
    ] as const) {
      doubts.push({ entry: k - 1, atS, velocityMps });
    }
  }
  if (norm(clipped) > 0) doubts.push({ entry: walk.length - 1, atS: sinceS, velocityMps: clipped });
  return doubts;
}
