import { describe, expect, it } from 'vitest';
import type { ImuBlock } from '../../../src/foundation/imu-block.ts';
import { resolveParams } from '../../../src/foundation/parameters.ts';
import { findImpacts } from '../../../src/shots/wrist/impacts.ts';
import { wristParams } from '../../../src/shots/wrist/wrist-params.ts';

const params = resolveParams(wristParams);

/** One second with blows (half sines of 15 ms) at given times on a slow swing of the arm at 1 Hz. */
function felt(rateHz: number, blows: readonly (readonly [number, number])[]): ImuBlock {
  const n = rateHz + 1;
  const timeS = Float64Array.from({ length: n }, (_, i) => i / rateHz);
  const accelMps2 = new Float64Array(3 * n);
  for (let i = 0; i < n; i++) {
    const t = timeS[i] as number;
    accelMps2[3 * i] = 10 * Math.sin(2 * Math.PI * t);
    accelMps2[3 * i + 2] = 9.8;
    for (const [atS, size] of blows) {
      const u = (t - atS) / 0.015;
      if (u > 0 && u < 1) accelMps2[3 * i + 2] = (accelMps2[3 * i + 2] as number) + size * Math.sin(Math.PI * u);
    }
  }
  return { length: n, timeS, accelMps2, gyroRadps: null, flags: new Uint8Array(n) };
}

describe('blows on the arm', () => {
  it.each([100, 200, 416, 833])('are found at %i Hz within a sample of their beginning', (rateHz) => {
    const block = felt(rateHz, [
      [0.3, 60],
      [0.7, 40],
    ]);
    const found = findImpacts(block, params);
    expect(found).toHaveLength(2);
    for (const [k, atS] of [0.3, 0.7].entries()) {
      const startS = block.timeS[found[k]?.start as number] as number;
      expect(startS).toBeGreaterThanOrEqual(atS);
      // The onset share of the blow is passed within 2 ms; then the next sample feels it.
      expect(startS - atS).toBeLessThan(1 / rateHz + 0.004);
    }
  });

  it.each([100, 200, 416, 833])('are parted from a quick reach that runs on into them at %i Hz', (rateHz) => {
    const block = felt(rateHz, [[0.5, 60]]);
    for (let i = 0; i < block.length; i++) {
      // The arm pulled forward and stopped again within 0.2 s, up to 30 m/s² and back, as hands meet a pass.
      const u = ((block.timeS[i] as number) - 0.32) / 0.2;
      if (u > 0 && u < 1) block.accelMps2[3 * i + 1] = 30 * Math.sin(2 * Math.PI * u) ** 3;
    }
    const found = findImpacts(block, params);
    const hardest = found.reduce((a, b) => (b.sizeMps2 > a.sizeMps2 ? b : a));
    expect(found.indexOf(hardest)).toBeGreaterThan(0);
    const startS = block.timeS[hardest.start] as number;
    expect(startS).toBeGreaterThanOrEqual(0.5);
    expect(startS).toBeLessThan(0.5 + 1 / rateHz + 0.004);
  });

  it('are not made of a swing of the arm', () => {
    expect(findImpacts(felt(200, []), params)).toEqual([]);
  });
});
