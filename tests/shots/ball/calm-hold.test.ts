import { describe, expect, it } from 'vitest';
import type { ImuBlock } from '../../../src/foundation/imu-block.ts';
import { initialCalibration } from '../../../src/shots/ball/calibration.ts';
import { findCalmHold, restOf, weightDoubt } from '../../../src/shots/ball/calm-hold.ts';
import type { Solution } from '../../../src/shots/ball/shot-solution.ts';

const stepS = 0.005;
const gravityMps2 = 9.80665;

/** A ball in hands that tremble upward and turn it, for `heldS`, and then lift it for 0.3 s. */
function held(heldS: number, how: { trembleMps?: number; turnRadps?: number; upMps2?: number }): ImuBlock {
  const { trembleMps = 0.1, turnRadps = 1, upMps2 = 0 } = how;
  const n = Math.round((heldS + 0.3) / stepS);
  const w = 2 * Math.PI * 2;
  const accelMps2 = new Float64Array(3 * n);
  const gyroRadps = new Float64Array(3 * n);
  for (let i = 0; i < n; i++) {
    const t = i * stepS;
    // It turns to and fro about its x axis: up moves in its y-z plane.
    const angle = (turnRadps / w) * Math.sin(w * t);
    const force = gravityMps2 + upMps2 + (t < heldS ? trembleMps * w * Math.cos(w * t) : 10);
    accelMps2[3 * i + 1] = force * Math.sin(angle);
    accelMps2[3 * i + 2] = force * Math.cos(angle);
    gyroRadps[3 * i] = turnRadps * Math.cos(w * t);
  }
  return {
    length: n,
    timeS: Float64Array.from({ length: n }, (_, i) => i * stepS),
    accelMps2,
    gyroRadps,
    flags: new Uint8Array(n),
  };
}

const find = (block: ImuBlock) => findCalmHold(block, 0, block.length, stepS, initialCalibration());

describe('a ball held calmly', () => {
  it('is found in hands that tremble and turn it, and tells where up is', () => {
    const block = held(2, {});
    const calm = find(block);
    if (!calm) throw new Error('expected a calm time');
    expect(calm.lastsS).toBeGreaterThan(1.1);
    expect(block.timeS[calm.end]).toBeLessThan(2.05);
    // A sine of 0.1 m/s scatters by 0.07 m/s.
    expect(calm.scatterMps).toBeGreaterThan(0.06);
    expect(calm.scatterMps).toBeLessThan(0.085);
    const middle = Math.floor((calm.start + calm.end) / 2);
    const angle = (1 / (4 * Math.PI)) * Math.sin(4 * Math.PI * middle * stepS);
    const [x, y, z] = calm.forceMps2;
    expect(Math.hypot(x, y, z)).toBeCloseTo(gravityMps2, 0);
    expect(Math.abs(Math.atan2(y, z) - angle)).toBeLessThan(0.03);
    expect(weightDoubt(calm)).toBeLessThan(0.2);
  });

  it.each([
    ['for less than a jump lasts', held(0.5, {})],
    ['by hands that throw it about', held(2, { trembleMps: 0.8 })],
    ['and turned round and round', held(2, { turnRadps: 8 })],
    ['in hands that speed it up', held(2, { upMps2: 1.2 })],
  ])('is none %s', (_, block) => {
    expect(find(block)).toBeNull();
  });

  it('says how far a way that is off moves and speeds up meanwhile', () => {
    const length = 400;
    const from = length - 1;
    const back = (values: (t: number) => readonly number[]) =>
      Float64Array.from(Array.from({ length }, (_, k) => values((from - k) * stepS)).flat());
    const axes = { forward: [1, 0, 0], left: [0, 1, 0], up: [0, 0, 1] } as const;
    const walk = { length, positionM: back((t) => [0.3 * t, 0, 0]), velocityMps: back((t) => [0.3, 0, 0.5 * t]) };
    const rows = restOf({ axes, walk } as unknown as Solution, from, {
      start: 100,
      end: 340,
      lastsS: 240 * stepS,
      scatterMps: 0.05,
      forceMps2: [0, 0, gravityMps2],
    });
    const values = (axis: string) => rows.filter((row) => row.axis === axis).map(({ value }) => value);
    expect(values('forward')[0]).toBeCloseTo(0.3, 9);
    expect(values('forward')[1]).toBeCloseTo(0, 9);
    expect(values('up')[1]).toBeCloseTo(0.5, 9);
    expect(rows.every(({ standardDeviation }) => standardDeviation > 0.05 && standardDeviation < 0.5)).toBe(true);
  });
});
