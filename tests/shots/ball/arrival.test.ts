import { describe, expect, it } from 'vitest';
import type { ImuBlock } from '../../../src/foundation/imu-block.ts';
import { sampleFlag } from '../../../src/foundation/imu-block.ts';
import { bouncedBefore } from '../../../src/shots/ball/arrival.ts';

const stepS = 0.005;

/** Forces along x, one a sample; free before and behind. */
function forces(values: readonly number[], clippedFrom = Number.POSITIVE_INFINITY): ImuBlock {
  const all = [...new Array<number>(20).fill(0.7), ...values, ...new Array<number>(20).fill(0.7)];
  return {
    length: all.length,
    timeS: Float64Array.from(all, (_, i) => i * stepS),
    accelMps2: Float64Array.from(all.flatMap((f) => [f, 0, 0])),
    gyroRadps: new Float64Array(3 * all.length),
    flags: Uint8Array.from(all, (f) => (Math.abs(f) >= clippedFrom ? sampleFlag.accelClipped : 0)),
  };
}

/** Whether the first free sample behind the push seems to come off the floor. */
const bounced = (values: readonly number[]) => bouncedBefore(forces(values, 156), 20 + values.length + 1, 0.003);

describe('a bounce off the floor right before a flight', () => {
  it.each<[string, readonly number[], boolean]>([
    ['three samples, the middle at the end of the range', [120, 156, 90], true],
    ['the same with the swing of a filter behind it', [195, 156, 156, 16, -27, 5], true],
    ['a throw: as long as a hand pushes', [30, 40, 50, 60, 70, 80, 80, 80, 80, 70, 60, 50, 40, 30], false],
    ['a soft touch', [10, 20, 15], false],
    ['nothing at all', [1, 1, 1], false],
  ])('%s', (_, values, is) => {
    expect(bounced(values)).toBe(is);
  });
});
