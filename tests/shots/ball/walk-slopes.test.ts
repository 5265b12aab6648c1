import { describe, expect, it } from 'vitest';
import type { ImuBlock } from '../../../src/foundation/imu-block.ts';
import { type WalkStart, walkBack } from '../../../src/shots/ball/walk-back.ts';
import {
  packShifts,
  shiftsAt,
  shiftWalk,
  type WalkShift,
  walkLike,
  walkSlopes,
} from '../../../src/shots/ball/walk-slopes.ts';
import { fromRotationVector, multiply, type Quaternion } from '../../../src/signal/rotation.ts';
import type { Vec3 } from '../../../src/signal/vec3.ts';

const length = 300;
const from = 280;
const to = 20;

/** A ball carried about: smooth made-up numbers of the size of a shot's. */
function carried(): ImuBlock {
  const timeS = Float64Array.from({ length }, (_, i) => i / 200);
  const wave = (i: number, axis: number, size: number) => size * Math.sin(0.03 * (axis + 1) * i + axis);
  const three = (size: number) =>
    Float64Array.from({ length: 3 * length }, (_, j) => wave(Math.floor(j / 3), j % 3, size));
  return { length, timeS, accelMps2: three(15), gyroRadps: three(6), flags: new Uint8Array(length) };
}

const start: WalkStart = {
  attitude: fromRotationVector([0.3, -0.2, 0.5]),
  velocityMps: [1, 2, 3],
  up: [0, 0.6, 0.8],
  biasMps2: [0.1, 0.2, -0.1],
  offsetM: [0.03, -0.02, 0.01],
  rateScale: [0.01, -0.01, 0],
  rateBiasRadps: [0.01, 0.02, -0.01],
};

const still: WalkShift = {
  turnRad: [0, 0, 0],
  velocityMps: [0, 0, 0],
  up: [0, 0, 0],
  sensor: new Array<number>(12).fill(0),
};
const small = 1e-5;
const sensorNames = ['biasMps2', 'offsetM', 'rateScale', 'rateBiasRadps'] as const;

/** The shift along one axis of one quantity, and what a walk starts from then. */
function moved(name: keyof WalkStart, axis: number): { shift: WalkShift; other: WalkStart } {
  const step: Vec3 = [axis === 0 ? small : 0, axis === 1 ? small : 0, axis === 2 ? small : 0];
  if (name === 'attitude') {
    const attitude: Quaternion = multiply(fromRotationVector(step), start.attitude);
    return { shift: { ...still, turnRad: step }, other: { ...start, attitude } };
  }
  const was: Vec3 = start[name];
  const other = { ...start, [name]: [was[0] + step[0], was[1] + step[1], was[2] + step[2]] };
  if (name === 'velocityMps' || name === 'up') return { shift: { ...still, [name]: step }, other };
  const sensor = [...still.sensor];
  sensor[3 * sensorNames.indexOf(name) + axis] = small;
  return { shift: { ...still, sensor }, other };
}

describe('slopes of a walk', () => {
  const names = ['attitude', 'velocityMps', 'up', ...sensorNames] as const;
  it.each(names.flatMap((name) => [0, 1, 2].map((axis) => ({ name, axis }))))(
    'follow a walk begun with another $name, axis $axis',
    ({ name, axis }) => {
      const block = carried();
      const base = walkBack(block, from, to, start);
      const slopes = walkSlopes(block, from, base, base.length, start, [{ first: 0, last: base.length - 1 }]);
      const { shift, other } = moved(name, axis);
      const walked = walkBack(block, from, to, other);
      const shifted = walkLike(base);
      shiftWalk(slopes, shift, shifted);
      for (const part of ['positionM', 'velocityMps', 'forceMps2', 'spinRadps', 'attitude'] as const) {
        let largest = 0;
        let off = 0;
        for (const [i, was] of base[part].entries()) {
          const change = (walked[part][i] as number) - was;
          largest = Math.max(largest, Math.abs(change));
          off = Math.max(off, Math.abs((shifted[part][i] as number) - was - change));
        }
        // The trapezoid rule turns a step by its mean rate, the slopes by the mean of its ends' turns: they differ by (ω dt)² / 12.
        expect(off).toBeLessThan(5e-3 * largest + 1e-12);
      }
    },
  );

  it('tell velocity and place of a single entry by several shifts as those of the whole walk', () => {
    const block = carried();
    const base = walkBack(block, from, to, start);
    const slopes = walkSlopes(block, from, base, base.length, start, [
      { first: 3, last: 5 },
      { first: 100, last: 100 },
    ]);
    const { shift } = moved('rateBiasRadps', 1);
    const shifted = walkLike(base);
    shiftWalk(slopes, shift, shifted);
    const both = new Float64Array(12);
    shiftsAt(slopes, packShifts([moved('attitude', 2).shift, shift]), 100, both);
    const out = both.subarray(6);
    expect(out[0]).not.toBe(0);
    expect(both[0]).not.toBe(out[0]);
    for (let axis = 0; axis < 3; axis++) {
      expect(shifted.velocityMps[300 + axis]).toBe((base.velocityMps[300 + axis] as number) + (out[axis] as number));
      expect(shifted.positionM[300 + axis]).toBe((base.positionM[300 + axis] as number) + (out[3 + axis] as number));
    }
  });
});
