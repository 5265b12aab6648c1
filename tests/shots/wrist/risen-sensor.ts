import type { ImuBlock } from '../../../src/foundation/imu-block.ts';
import type { DoubtfulPath } from '../../../src/shots/wrist/path-doubt.ts';
import { Strapdown } from '../../../src/shots/wrist/strapdown.ts';

export const rateHz = 200;

/**
 * Two seconds of a sensor that does not turn and is this high, by differences; its speed is right at `knownS`, where it is known to 1 mm/s.
 *
 * @param blowS when a ball strikes it aside, 60 m/s² to and fro for 10 ms each.
 */
export function risenSensor(heightM: (timeS: number) => number, knownS = 1, blowS = Number.NaN): DoubtfulPath {
  const n = 2 * rateHz + 1;
  const timeS = Float64Array.from({ length: n }, (_, i) => i / rateHz);
  const accelMps2 = new Float64Array(3 * n);
  const h = 1e-3;
  for (let i = 0; i < n; i++) {
    const t = timeS[i] as number;
    const sinceS = t - blowS;
    if (sinceS >= 0 && sinceS < 0.02) accelMps2[3 * i] = sinceS < 0.01 ? 60 : -60;
    accelMps2[3 * i + 2] = 9.80665 + (heightM(t + h) - 2 * heightM(t) + heightM(t - h)) / (h * h);
  }
  const block: ImuBlock = { length: n, timeS, accelMps2, gyroRadps: new Float64Array(3 * n), flags: new Uint8Array(n) };
  const known = Math.round(knownS * rateHz);
  const path = new Strapdown(block, known, [0, 0, 0], [0, 0, 1]);
  path.assume({ tiltRad: 1e-3, gyroBiasRadps: 1e-4, gyroScale: 1e-3, accelBiasMps2: 1e-3, velocityMps: 4 });
  path.stateVelocity(known, [0, 0, 1], (heightM(knownS + h) - heightM(knownS - h)) / (2 * h), 1e-3);
  path.solve();
  return { path, motion: path.motion(), shifted: (k) => path.motion(k) };
}
