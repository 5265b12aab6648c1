import { describe, expect, it } from 'vitest';
import type { ImuBlock } from '../../../src/foundation/imu-block.ts';
import { doubtPause } from '../../../src/shots/wrist/pause-doubt.ts';
import { Strapdown } from '../../../src/shots/wrist/strapdown.ts';

const rateHz = 200;
const n = 301;

/** A sensor that does not turn and rises at these speeds, known to `velocityMps` at its middle. */
function path(riseMps: (timeS: number) => number, velocityMps: number): Strapdown {
  const timeS = Float64Array.from({ length: n }, (_, i) => i / rateHz);
  const accelMps2 = new Float64Array(3 * n);
  const h = 1e-4;
  for (let i = 0; i < n; i++) {
    const t = timeS[i] as number;
    accelMps2[3 * i + 2] = 9.80665 + (riseMps(t + h) - riseMps(t - h)) / (2 * h);
  }
  const block: ImuBlock = { length: n, timeS, accelMps2, gyroRadps: new Float64Array(3 * n), flags: new Uint8Array(n) };
  const one = new Strapdown(block, (n - 1) / 2, [0, 0, 0], [0, 0, 1]);
  one.assume({ tiltRad: 1e-3, gyroBiasRadps: 1e-4, gyroScale: 1e-3, accelBiasMps2: 1e-3, velocityMps: 4 });
  one.stateVelocity((n - 1) / 2, [0, 0, 1], riseMps(0.75), velocityMps);
  one.solve();
  return one;
}

function pause(riseMps: (timeS: number) => number, velocityMps: number) {
  const one = path(riseMps, velocityMps);
  return doubtPause({ path: one, motion: one.motion(), shifted: (k) => one.motion(k) }, 0, n - 1, 0.3);
}

/** Rises at 2 m/s, goes on at `throughMps` from 0.5 to 0.9 s, rises again; the flanks lie a twentieth of a second each outside. */
const stops = (throughMps: number) => (t: number) => {
  const beyond = Math.max(0.5 - t, t - 0.9, 0);
  return throughMps + (2 - throughMps) * Math.min(1, beyond / 0.05);
};

describe('a pause', () => {
  it('is as long as the hand is slow where its speed is clearly within the limit', () => {
    // The flanks take 0.3 of 2 m/s, 7.5 ms, each: 0.415 s.
    const { pauseS, errorS } = pause(stops(0), 0.02);
    expect(pauseS).toBeGreaterThan(0.38);
    expect(pauseS).toBeLessThan(0.43);
    expect(errorS).toBeLessThan(0.06);
  });

  it('may be there or not where the speed cannot tell, and its interval holds both', () => {
    for (const throughMps of [-0.36, 0.36, 0.26]) {
      const { pauseS, errorS, interval90 } = pause(stops(throughMps), 0.1);
      expect(interval90[0]).toBeLessThan(0.05);
      expect(interval90[1]).toBeGreaterThan(0.39);
      expect(pauseS).toBeGreaterThan(0.08);
      expect(pauseS).toBeLessThan(0.36);
      expect(errorS).toBeGreaterThan(0.12);
    }
  });

  it('is short and well known in a hand that goes through', () => {
    const { pauseS, errorS } = pause((t) => 2 + 20 * Math.max(0, Math.abs(t - 0.75) - 0.5), 0.02);
    expect(pauseS).toBe(0);
    expect(errorS).toBe(0);
  });
});
