import { describe, expect, it } from 'vitest';
import type { ImuBlock } from '../../../src/foundation/imu-block.ts';
import { PathMemory } from '../../../src/shots/wrist/path-columns.ts';
import { unknown, unknownCount } from '../../../src/shots/wrist/path-motion.ts';
import { Strapdown } from '../../../src/shots/wrist/strapdown.ts';
import { dot } from '../../../src/signal/vec3.ts';

const g = 9.80665;
const rateHz = 200;
const lengthS = 3;
const turnRadps = 1;

/**
 * A sensor that rises and comes back to rest, z = h (1 − cos 2πt/T)/2 between 1 s and 2 s, while it turns evenly about the
 * level x axis; still, but for the turn, before and after. Closed form, so that nothing of the code under test is used.
 */
function risen(heightM: number, gyroBiasRadps: number, accelBiasMps2: number): ImuBlock {
  const n = lengthS * rateHz + 1;
  const timeS = Float64Array.from({ length: n }, (_, i) => i / rateHz);
  const accelMps2 = new Float64Array(3 * n);
  const gyroRadps = new Float64Array(3 * n);
  for (let i = 0; i < n; i++) {
    const t = timeS[i] as number;
    const w = 2 * Math.PI;
    const moving = t >= 1 && t <= 2;
    const a = g + (moving ? (heightM / 2) * w * w * Math.cos(w * (t - 1)) : 0);
    const angle = turnRadps * Math.min(1, Math.max(0, t - 1));
    accelMps2[3 * i] = accelBiasMps2;
    accelMps2[3 * i + 1] = a * Math.sin(angle);
    accelMps2[3 * i + 2] = a * Math.cos(angle);
    gyroRadps[3 * i] = (moving ? turnRadps : 0) + gyroBiasRadps;
  }
  return { length: n, timeS, accelMps2, gyroRadps, flags: new Uint8Array(n) };
}

function solved(block: ImuBlock, memory = new PathMemory()): Strapdown {
  const middle = Math.floor((block.length - 1) / 2);
  const path = new Strapdown(block, middle, [0, 0, 0], null, memory);
  for (let round = 0; round < 2; round++) {
    if (round > 0) path.restart();
    path.assume({ tiltRad: 0.5, gyroBiasRadps: 0.03, gyroScale: 0.01, accelBiasMps2: 0.3, velocityMps: 4 });
    for (const [from, to] of [
      [0, 180],
      [420, 600],
    ] as const) {
      path.stateVelocity((from + to) / 2, null, 0, 0.02);
      path.stateUnaccelerated(from, to, 0.05);
    }
    path.solve();
  }
  return path;
}

describe('paths that lie in the same memory', () => {
  it('are those that lie alone, whatever lay there before', () => {
    const memory = new PathMemory();
    const heights = (path: Strapdown): number[] => {
      const motions = [path.motion(), ...Array.from({ length: unknownCount }, (_, k) => path.motion(k))];
      return motions.flatMap((motion) => [10, 300, 580].map((i) => motion.heightM(i)));
    };
    const long = risen(0.5, 0.017, 0.25);
    const short = { ...long, length: long.length - 1 };
    expect(heights(solved(long, memory))).toEqual(heights(solved(long)));
    expect(heights(solved(short, memory))).toEqual(heights(solved(short)));
    expect(heights(solved(long, memory))).toEqual(heights(solved(long)));
  });
});

describe('the path between two quiet moments', () => {
  it.each([
    [0, 0],
    [0.017, 0],
    [0, 0.25],
    [-0.017, -0.25],
  ])('is that of the motion, with a gyroscope bias of %f rad/s and %f m/s² on an axis', (gyroBias, accelBias) => {
    const path = solved(risen(0.5, gyroBias, accelBias));
    const motion = path.motion();
    const height = (i: number): number => dot(motion.positionM(i), motion.up);
    // Each bias tilts or bends the path by less than its own error times the square of half a second.
    expect(Math.abs(height(300) - height(200) - 0.5)).toBeLessThan(0.02);
    expect(Math.abs(height(400) - height(300) + 0.5)).toBeLessThan(0.02);
    expect(Math.abs(dot(motion.velocityMps(250), motion.up) - 0.5 * Math.PI)).toBeLessThan(0.05);
  });

  it('learns the bias of the gyroscope as far as the two quiet moments tell it', () => {
    const path = solved(risen(0.5, 0.017, 0));
    expect(Math.abs(path.valueOf(unknown.gyroBias) - 0.017)).toBeLessThan(3 * path.deviationOf(unknown.gyroBias));
    expect(path.deviationOf(unknown.gyroBias)).toBeLessThan(0.03);
  });

  it('knows less where it was told less', () => {
    const block = risen(0.5, 0, 0);
    const loose = new Strapdown(block, 300, [0, 0, 0]);
    loose.assume({ tiltRad: 0.5, gyroBiasRadps: 0.03, gyroScale: 0.01, accelBiasMps2: 0.3, velocityMps: 4 });
    loose.solve();
    expect(loose.deviationOf(unknown.velocity)).toBeGreaterThan(20 * solved(block).deviationOf(unknown.velocity));
  });

  it('refuses a block without a gyroscope', () => {
    expect(() => new Strapdown({ ...risen(0.5, 0, 0), gyroRadps: null }, 300, [0, 0, 0])).toThrow('needs a gyroscope');
  });
});
