import { describe, expect, it } from 'vitest';
import type { ImuBlock } from '../../../src/foundation/imu-block.ts';
import { aheadShiftM, driftM, sideOf } from '../../../src/shots/wrist/side-path.ts';
import { Strapdown } from '../../../src/shots/wrist/strapdown.ts';
import { readNumbers } from '../../../src/shots/wrist/wrist-numbers.ts';
import { risenSensor } from './risen-sensor.ts';

describe('the path to the side', () => {
  it('has a sure side where the other one is clearly smaller', () => {
    const told = sideOf(0.3, -0.05, 0.05);
    expect(told.value).toBe(0.3);
    if (told.value === null) return;
    expect(told.interval90?.[1]).toBeCloseTo(0.3 + 1.6448536 * Math.hypot(0.05, 0.01), 6);
    // One in fourteen is the wrong one all the same: 0.35 m away.
    expect(told.standardError).toBeCloseTo(Math.sqrt(0.0026 + 0.07 * 0.35 ** 2), 9);
    expect(told.flags).toBeUndefined();
  });

  it('says so where the other side may have been the larger one, and reaches it', () => {
    for (const [side, other] of [
      [0.2, -0.19],
      [-0.2, 0.15],
    ] as const) {
      const told = sideOf(side, other, 0.05);
      if (told.value === null) throw new Error('a side was expected');
      expect(told.flags).toEqual(['side-unsure']);
      expect(1.645 * told.standardError).toBeGreaterThanOrEqual(Math.abs(side - other));
    }
  });

  it('is known less well the longer before release it was that far aside, since an error of the speed adds up', () => {
    const { motion, path } = risenSensor(() => 0);
    const at = (sideS: number | null) =>
      driftM(
        { ...readNumbers(path, motion, { pickupS: 0.2, releaseS: 1.5, held: false }), sideS },
        { timeS: 1.5, errorS: 0.01 },
      );
    expect(at(0.5)).toBeCloseTo(0.08, 9);
    expect(at(1.4)).toBeCloseTo(0.008, 9);
    expect(at(null)).toBe(0);
  });

  it('is known less well the shorter the level way is that tells what is ahead', () => {
    const n = 301;
    const shift = (aheadMps: number): number => {
      const timeS = Float64Array.from({ length: n }, (_, i) => i / 200);
      const accelMps2 = new Float64Array(3 * n);
      for (let i = 0; i < n; i++) accelMps2[3 * i + 2] = 9.80665;
      const gyroRadps = new Float64Array(3 * n);
      const block: ImuBlock = { length: n, timeS, accelMps2, gyroRadps, flags: new Uint8Array(n) };
      const path = new Strapdown(block, 200, [0, 0, 0], [0, 0, 1]);
      path.assume({ tiltRad: 1e-3, gyroBiasRadps: 1e-4, gyroScale: 1e-3, accelBiasMps2: 1e-3, velocityMps: 4 });
      path.stateVelocity(200, [1, 0, 0], aheadMps, 1e-3);
      path.stateVelocity(200, [0, 1, 0], 0, 1e-3);
      path.solve();
      const instants = { pickupS: 0.2, releaseS: 1, held: false };
      // Over the way ahead, which the turn is seen against.
      return aheadShiftM(path, path.motion(), instants, null) / (0.8 * aheadMps);
    };
    expect(shift(3)).toBeGreaterThan(0.09);
    expect(shift(3)).toBeLessThan(0.13);
    expect(shift(0.5)).toBeGreaterThan(0.25);
  });
});
