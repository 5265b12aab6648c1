import { describe, expect, it } from 'vitest';
import type { Surroundings } from '../../../src/shots/ball/flight-study.ts';
import { grazesNet } from '../../../src/shots/ball/strikes.ts';
import { norm, type Vec3 } from '../../../src/signal/vec3.ts';

const stepS = 0.005;
const up: Vec3 = [0, 0, 1];
/** A second of falling flight, and the sample at which something touches the ball. */
const [length, touch] = [200, 160];

function flight(forces: Readonly<Record<number, Vec3>>, velocity: Vec3 = [4, 0, -5]): Surroundings {
  const forceMps2 = new Float64Array(3 * length);
  for (const [i, force] of Object.entries(forces)) forceMps2.set(force, 3 * Number(i));
  return {
    first: 0,
    timeS: Float64Array.from({ length }, (_, i) => i * stepS),
    forceMps2,
    sizeMps2: Float64Array.from({ length }, (_, i) =>
      norm([...forceMps2.subarray(3 * i, 3 * i + 3)] as unknown as Vec3),
    ),
    attitude: new Float64Array(4 * length),
    velocityMps: Float64Array.from({ length: 3 * length }, (_, i) => velocity[i % 3] as number),
  };
}

const brush = { [touch]: [-0.7, -0.2, 0.3], [touch + 1]: [-2.3, -0.7, 1] } as const;
const isGraze = (around: Surroundings) => grazesNet(around, touch, 0.5, up, 0);

describe('a net brushed from beside', () => {
  it('is a push of two samples against the way of a falling ball', () => {
    expect(isGraze(flight(brush))).toBe(true);
  });

  it('is none where the push helps the ball on, swings to and fro, or is one sample long', () => {
    expect(isGraze(flight({ [touch]: [0.7, 0.2, -0.3], [touch + 1]: [2.3, 0.7, -1] }))).toBe(false);
    expect(isGraze(flight({ [touch]: [-1.4, 0, 1], [touch + 1]: [1.2, 0.1, -1] }))).toBe(false);
    expect(isGraze(flight({ [touch]: [-2.3, -0.7, 1] }))).toBe(false);
  });

  it('is none of a ball that still rises, nor of one in which something has ticked before', () => {
    expect(isGraze(flight(brush, [4, 0, 5]))).toBe(false);
    expect(isGraze(flight({ 80: [1, 0, 0], ...brush }))).toBe(false);
    // What hand and fingertips leave behind at the start is no tick.
    expect(isGraze(flight({ 8: [1, 0, 0], ...brush }))).toBe(true);
  });
});
