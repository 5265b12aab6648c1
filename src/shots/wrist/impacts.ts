import type { ImuBlock } from '../../foundation/imu-block.ts';
import type { WristParams } from './wrist-params.ts';

/** A blow on the arm: the specific force leaves what it was just before. Sample numbers of the block. */
export interface Impact {
  /** Where it began, where it was hardest, and where it was over. */
  readonly start: number;
  readonly peak: number;
  readonly end: number;
  readonly sizeMps2: number;
}

/** Where a blow has reached this share of its size it has begun: below is what the arm does by itself. */
const onsetShare = 0.1;
/** A dip below this share of a blow, deeper than what came before it, parts the blow from what the arm did before. */
const dipShare = 0.35;

/**
 * Finds blows on the arm, a ball's or the floor's.
 *
 * A blow lasts 5 to 30 ms and rings for a while in skin and strap; movement of the arm itself is slower. So the deviation
 * from the mean of the last `impactWindowS` is taken: what comes later does not show before it came. A quick reach for the
 * ball stands out as well and runs on into the blow: each is told by itself.
 */
export function findImpacts(block: ImuBlock, params: WristParams): Impact[] {
  const deviation = suddenForce(block, params.impactWindowS);
  const impacts: Impact[] = [];
  let from = -1;
  let last = -1;
  const close = (): void => {
    if (from >= 0) part(block, deviation, from, last, params, impacts);
    from = -1;
  };
  for (let i = 0; i < block.length; i++) {
    if ((deviation[i] as number) > params.impactLeastMps2) {
      if (from < 0) from = i;
      last = i;
    } else if (from >= 0 && (block.timeS[i] as number) - (block.timeS[last] as number) > params.impactApartS) close();
  }
  close();
  return impacts;
}

/** Parts samples `[from, last]` that stand out into the hardest blow with its ringing, and what lies before and after. */
function part(
  block: ImuBlock,
  deviation: Float64Array,
  from: number,
  last: number,
  params: WristParams,
  impacts: Impact[],
): void {
  let peak = from;
  for (let i = from; i <= last; i++) if ((deviation[i] as number) > (deviation[peak] as number)) peak = i;
  const size = deviation[peak] as number;
  if (size <= params.impactLeastMps2) return;
  let start = peak;
  while (start > from) {
    const [here, before] = [deviation[start] as number, deviation[start - 1] as number];
    const isOnset = before < onsetShare * size;
    if (!isOnset && (here >= dipShare * size || before < here)) {
      start--;
      continue;
    }
    const lobe = echoBefore(block, deviation, start, from, size, params);
    if (lobe === null) {
      // At the bottom of a dip the blow is not felt yet.
      if (!isOnset) start++;
      break;
    }
    start = lobe;
  }
  let end = peak + 1;
  while (end <= last && (block.timeS[end] as number) - (block.timeS[peak] as number) <= params.ringS) end++;
  // What is left of its flank is no blow.
  let foot = start;
  while (foot > from && (deviation[foot - 1] as number) < (deviation[foot] as number)) foot--;
  if (foot > from) part(block, deviation, from, foot - 1, params, impacts);
  impacts.push({ start, peak, end, sizeMps2: size });
  if (end <= last) part(block, deviation, end, last, params, impacts);
}

/** @returns a sample just before that stood out as well: a blow passes the mean of the time before on its way back. */
function echoBefore(
  { timeS }: ImuBlock,
  deviation: Float64Array,
  at: number,
  from: number,
  size: number,
  { impactWindowS }: WristParams,
): number | null {
  for (let i = at - 1; i >= from && (timeS[at] as number) - (timeS[i] as number) <= impactWindowS; i--) {
    if ((deviation[i] as number) >= dipShare * size) return i;
  }
  return null;
}

/** @returns size of the specific force less its mean over the time just before, m/s², n values. */
export function suddenForce(block: ImuBlock, windowS: number): Float64Array {
  const n = block.length;
  const { timeS, accelMps2 } = block;
  const out = new Float64Array(n);
  let [sx, sy, sz] = [0, 0, 0];
  let from = 0;
  for (let i = 0; i < n; i++) {
    const t = timeS[i] as number;
    // At low rates one sample stands for the time before.
    while (from < i - 1 && (timeS[from] as number) < t - windowS) {
      sx -= accelMps2[3 * from] as number;
      sy -= accelMps2[3 * from + 1] as number;
      sz -= accelMps2[3 * from + 2] as number;
      from++;
    }
    const [x, y, z] = [accelMps2[3 * i] as number, accelMps2[3 * i + 1] as number, accelMps2[3 * i + 2] as number];
    const count = i - from;
    if (count > 0) out[i] = Math.hypot(x - sx / count, y - sy / count, z - sz / count);
    sx += x;
    sy += y;
    sz += z;
  }
  return out;
}
