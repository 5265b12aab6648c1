import { describe, expect, it } from 'vitest';
import { standardGravityMps2 } from '../../../src/foundation/constants.ts';
import { type ImuBlock, sampleFlag } from '../../../src/foundation/imu-block.ts';
import { stepDoubts } from '../../../src/shots/ball/path-doubts.ts';
import { type WalkStart, walkBack } from '../../../src/shots/ball/walk-back.ts';
import { vecAt } from '../../../src/signal/vec3.ts';

const stepS = 0.005;
const turnRadps = 3;

/** A sensor that does not turn, or turns about x, and is pushed along z by `pushMps2(t)` beside gravity; samples in `lost` are missing. */
function pushed(
  durationS: number,
  pushMps2: (t: number) => number,
  lost: readonly [number, number] | null,
  turning = false,
): ImuBlock {
  const times: number[] = [];
  const gaps: boolean[] = [];
  for (let i = 0; i <= Math.round(durationS / stepS); i++) {
    const t = i * stepS;
    if (lost && t > lost[0] && t < lost[1]) continue;
    const last = times[times.length - 1];
    gaps.push(last !== undefined && t - last > 1.5 * stepS);
    times.push(t);
  }
  const length = times.length;
  const rate = (t: number) => (turning ? turnRadps * Math.sin(8 * t) : 0);
  const angle = (t: number) => (turning ? (turnRadps / 8) * (1 - Math.cos(8 * t)) : 0);
  const force = (t: number) => standardGravityMps2 + pushMps2(t);
  return {
    length,
    timeS: Float64Array.from(times),
    accelMps2: Float64Array.from(
      times.flatMap((t) => [0, force(t) * Math.sin(angle(t)), force(t) * Math.cos(angle(t))]),
    ),
    gyroRadps: Float64Array.from(times.flatMap((t) => [rate(t), 0, 0])),
    flags: Uint8Array.from(gaps, (gap) => (gap ? sampleFlag.gapBefore : 0)),
  };
}

/** At the end, at rest but for its speed upward. */
function atEnd(velocityMps: number, angleRad = 0): WalkStart {
  return {
    attitude: [Math.cos(angleRad / 2), Math.sin(angleRad / 2), 0, 0],
    velocityMps: [0, 0, velocityMps],
    up: [0, 0, 1],
    biasMps2: [0, 0, 0],
    offsetM: [0, 0, 0],
    rateScale: [0, 0, 0],
    rateBiasRadps: [0, 0, 0],
  };
}

describe('the walk back from release', () => {
  // A push that grows and fades: 60 sin²(π t / 0.4); over 0.4 s it gives 60 · 0.2 = 12 m/s.
  const push = (t: number) => 60 * Math.sin((Math.PI * t) / 0.4) ** 2;
  const walkOf = (block: ImuBlock, angleRad = 0) => walkBack(block, block.length - 1, 0, atEnd(12, angleRad));

  it('ends at the velocity and place from which the push began', () => {
    const walk = walkOf(pushed(0.4, push, null));
    const first = walk.length - 1;
    // The trapezoid rule is exact for a whole period of a sine; the place is −∫∫ = −12 · 0.2 m by symmetry.
    expect(vecAt(walk.velocityMps, first)[2]).toBeCloseTo(0, 9);
    expect(vecAt(walk.positionM, first)[2]).toBeCloseTo(-2.4, 3);
  });

  it('follows the force through a gap of 30 ms at its peak, where a straight line misses 17 mm/s', () => {
    const walk = walkOf(pushed(0.4, push, [0.186, 0.214]));
    // ∫ 60 sin² over 0.185…0.215 s less 0.03 s of the value at its ends.
    const wave = (t: number) => (0.4 / (4 * Math.PI)) * Math.sin((2 * Math.PI * t) / 0.4);
    const missedByLine = 60 * (0.015 - wave(0.215) + wave(0.185)) - 0.03 * push(0.185);
    expect(missedByLine).toBeCloseTo(0.0166, 4);
    expect(Math.abs(vecAt(walk.velocityMps, walk.length - 1)[2])).toBeLessThan(0.25 * missedByLine);
  });

  it('follows the turn through a gap as well', () => {
    const angleRad = (turnRadps / 8) * (1 - Math.cos(8 * 0.4));
    const whole = walkOf(pushed(0.4, push, null, true), angleRad);
    const torn = walkOf(pushed(0.4, push, [0.186, 0.214], true), angleRad);
    const at = (walk: typeof whole) => walk.attitude.subarray(4 * (walk.length - 1), 4 * walk.length);
    for (let i = 0; i < 4; i++) expect(at(torn)[i]).toBeCloseTo(at(whole)[i] as number, 4);
  });

  it('doubts what a gap may hide more where the force bends, and nothing where all samples are there', () => {
    const doubtsOf = (block: ImuBlock) => stepDoubts(block, walkOf(block), block.length - 1, 0);
    expect(doubtsOf(pushed(0.4, push, null))).toEqual([]);
    const bent = doubtsOf(pushed(0.4, push, [0.186, 0.214]));
    const steady = doubtsOf(pushed(0.4, () => 30, [0.186, 0.214]));
    // One for each direction.
    expect(bent).toHaveLength(3);
    expect(Math.max(...(bent[0]?.velocityMps ?? []))).toBeGreaterThan(0.005);
    expect(Math.max(...(steady[0]?.velocityMps ?? []))).toBeLessThan(1e-9);
    expect(bent[0]?.atS).toBeCloseTo(0.2, 2);
  });

  it('doubts a clipped push along its direction', () => {
    const block = pushed(0.4, push, null);
    for (let i = 38; i <= 42; i++) block.flags[i] = sampleFlag.accelClipped;
    const [doubt, ...more] = stepDoubts(block, walkOf(block), block.length - 1, 0);
    expect(more).toEqual([]);
    // A fifth of 70 m/s² over five samples.
    expect(doubt?.velocityMps[2]).toBeCloseTo(0.2 * 69.5 * 5 * stepS, 1);
    expect(doubt?.velocityMps[0]).toBe(0);
  });
});
