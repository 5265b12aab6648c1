import { describe, expect, it } from 'vitest';
import type { ImuBlock } from '../../../src/foundation/imu-block.ts';
import { rivalLowsS } from '../../../src/shots/wrist/rival-lows.ts';
import { Strapdown } from '../../../src/shots/wrist/strapdown.ts';

const rateHz = 200;
const n = 401;

/** A sensor that does not turn and goes along z as asked, the accelerations by differences; at rest in the middle. */
function path(heightM: (timeS: number) => number): Strapdown {
  const timeS = Float64Array.from({ length: n }, (_, i) => i / rateHz);
  const accelMps2 = new Float64Array(3 * n);
  const h = 1e-3;
  for (let i = 0; i < n; i++) {
    const t = timeS[i] as number;
    accelMps2[3 * i + 2] = 9.80665 + (heightM(t + h) - 2 * heightM(t) + heightM(t - h)) / (h * h);
  }
  const block: ImuBlock = { length: n, timeS, accelMps2, gyroRadps: new Float64Array(3 * n), flags: new Uint8Array(n) };
  const one = new Strapdown(block, (n - 1) / 2, [0, 0, 0], [0, 0, 1]);
  one.assume({ tiltRad: 1e-3, gyroBiasRadps: 1e-4, gyroScale: 1e-3, accelBiasMps2: 1e-3, velocityMps: 1e-3 });
  one.solve();
  return one;
}

/** Two lows half a second apart around the middle, the first deeper by `deeperM`. */
const twoLows = (deeperM: number) => (t: number) =>
  0.2 * Math.cos(4 * Math.PI * (t - 1)) + deeperM * (t - 1) + 8 * Math.max(0, Math.abs(t - 1) - 0.4) ** 2;

/** The lift is the last sample within 1 cm of the lowest. */
function spread(heightM: (timeS: number) => number): number {
  const one = path(heightM);
  const heights = Array.from({ length: n }, (_, i) => heightM(i / rateHz));
  const lowest = Math.min(...heights);
  const liftS = heights.findLastIndex((h) => h <= lowest + 0.01) / rateHz;
  return rivalLowsS({ path: one, motion: one.motion(), shifted: (k) => one.motion(k) }, 0, n - 1, liftS, 0.01);
}

describe('rivals of the lowest point', () => {
  it('are another low point that is as low', () => {
    // Equal weights a quarter, half and three quarters of a second away at most.
    expect(spread(twoLows(0.001))).toBeGreaterThan(0.2);
  });

  it('are none where the others are clearly higher', () => {
    // Lows at 0.25, 0.75 and 1.25 s, the middle one half a metre deeper.
    expect(
      spread((t) => 0.2 * Math.cos(4 * Math.PI * (t - 1)) - 0.5 * Math.exp(-(((t - 0.75) / 0.08) ** 2))),
    ).toBeLessThan(0.02);
  });

  it('are the rest of a low that is long and level', () => {
    // 4 mm more or less height are 0.02 s on a slope of 0.4 m/s, which a bend of 8 m/s² has 1 cm up, and 0.15 s with a hundredth of it.
    expect(spread((t) => 4 * (t - 1) ** 2)).toBeLessThan(0.02);
    expect(spread((t) => 0.04 * (t - 1) ** 2)).toBeGreaterThan(0.08);
  });
});
