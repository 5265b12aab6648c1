import { describe, expect, it } from 'vitest';
import { prepareFlight } from '../../src/flight/flight-data.ts';
import { type ImuBlock, sampleFlag } from '../../src/foundation/imu-block.ts';

/** A ball that turns at `z` about an axis at its end and at 5 rad/s about another, both decaying by 3 % a second; 25 ms are lost early on. */
function clippedFlight(endRadps: number): ImuBlock {
  const timesS = Array.from({ length: 200 }, (_, i) => i * 0.005).filter((t) => t < 0.05 || t >= 0.075);
  const n = timesS.length;
  return {
    length: n,
    timeS: Float64Array.from(timesS),
    accelMps2: new Float64Array(3 * n),
    gyroRadps: Float64Array.from(timesS.flatMap((t) => [5 * (1 - 0.03 * t), 0, endRadps])),
    flags: Uint8Array.from(timesS, (t) => sampleFlag.gyroClipped | (t === 0.075 ? sampleFlag.gapBefore : 0)),
  };
}

describe('a gyroscope axis at its end', () => {
  it('decays as the other axes do, with samples missing to one side of the middle', () => {
    const data = prepareFlight(clippedFlight(34.9), 0, clippedFlight(34.9).length);
    expect(data.rateClipped).toEqual([false, false, true]);
    const z = (i: number) => data.rateRadps[3 * i + 2] as number;
    const last = data.length - 1;
    const spanS = (data.timeS[last] as number) - (data.timeS[0] as number);
    // TOLERANCE: the prior (2 ± 2 % a second) weighs a little against what the other axis shows, 3 % at 5 rad/s to 0.6 %.
    expect((z(0) - z(last)) / 34.9 / spanS).toBeCloseTo(0.03, 2);
    expect(z(last >> 1)).toBeCloseTo(34.9, 1);
    expect(data.decayErrorPerS).toBeGreaterThan(0.004);
    expect(data.decayErrorPerS).toBeLessThan(0.02);
  });
});
