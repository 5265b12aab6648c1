import { describe, expect, it } from 'vitest';
import { type ImuBlock, sampleFlag } from '../../../src/foundation/imu-block.ts';
import { stepDoubts, turnDoubts, velocityDoubts } from '../../../src/shots/ball/path-doubts.ts';
import type { Walk } from '../../../src/shots/ball/walk-back.ts';
import { dot, norm, type Vec3 } from '../../../src/signal/vec3.ts';

const stepS = 0.005;
const length = 101;

/** A walk of a sensor that does not turn, oldest sample first, and its samples. */
function walked(forceAt: (t: number) => Vec3, spinAt: (t: number) => Vec3, range = { force: 1e9, spin: 1e9 }) {
  const cut = (v: Vec3, most: number) => v.map((x) => Math.min(most, Math.max(-most, x))) as unknown as Vec3;
  const timeS = Float64Array.from({ length }, (_, i) => i * stepS);
  const force = Array.from(timeS, (t) => cut(forceAt(t), range.force));
  const spin = Array.from(timeS, (t) => cut(spinAt(t), range.spin));
  const flags = Uint8Array.from(timeS, (_, i) => {
    const accel = (force[i] as Vec3).some((x) => Math.abs(x) >= range.force) ? sampleFlag.accelClipped : 0;
    return accel | ((spin[i] as Vec3).some((x) => Math.abs(x) >= range.spin) ? sampleFlag.gyroClipped : 0);
  });
  const block: ImuBlock = {
    length,
    timeS,
    accelMps2: Float64Array.from(force.flat()),
    gyroRadps: Float64Array.from(spin.flat()),
    flags,
  };
  const walk = {
    length,
    timeS: timeS.toReversed(),
    forceMps2: Float64Array.from(force.toReversed().flat()),
    spinRadps: Float64Array.from(spin.toReversed().flat()),
    attitude: Float64Array.from({ length: 4 * length }, (_, i) => (i % 4 === 0 ? 1 : 0)),
  } as unknown as Walk;
  return { block, walk };
}

const still = (): Vec3 => [0, 0, 0];
const gravity = (): Vec3 => [0, 0, 9.80665];
/** Area, in units of its height times half its width, of a parabola beyond a share of its height: ∫ (1 − x² − share). */
const beyond = (share: number) => (4 / 3) * (1 - share) ** 1.5;

describe('what samples on the way before release hide', () => {
  it('is nothing where none is lost or at the end of the range', () => {
    const { block, walk } = walked(gravity, still);
    expect(stepDoubts(block, walk, length - 1, 0)).toEqual([]);
    expect(turnDoubts(block, walk, length - 1, 0)).toEqual([]);
  });

  it.each([0.06, 0.08])(
    'is of the size of what a push of %f s loses beyond the range, along the axis that is at its end',
    (half) => {
      const peak = 110;
      const push = (t: number): Vec3 => [30, Math.max(0, peak * (1 - ((t - 0.25) / half) ** 2)), 9.8];
      const { block, walk } = walked(push, still, { force: 78, spin: 1e9 });
      const lost = peak * half * beyond(78 / peak);
      const [doubt, ...more] = stepDoubts(block, walk, length - 1, 0);
      expect(more).toEqual([]);
      const size = norm(doubt?.velocityMps ?? [0, 0, 0]);
      expect(Math.abs(dot(doubt?.velocityMps ?? [0, 0, 0], [0, 1, 0]))).toBeCloseTo(size, 9);
      expect(size).toBeGreaterThan(0.6 * lost);
      expect(size).toBeLessThan(1.6 * lost);
    },
  );

  it.each([0.012, 0.016])('holds what a hard catch of %f s loses whose flanks lie between samples', (lastsS) => {
    const peak = (7 * Math.PI) / (2 * lastsS);
    const beginS = 0.2512;
    const blow = (t: number): Vec3 => [
      t > beginS && t < beginS + lastsS ? peak * Math.sin((Math.PI * (t - beginS)) / lastsS) : 0,
      0,
      0,
    ];
    const range = 78;
    const { block, walk } = walked(blow, still, { force: range, spin: 1e9 });
    let shown = 0;
    for (let k = 0; k < length; k++) shown += (walk.forceMps2[3 * k] as number) * stepS;
    const lost = 7 - shown;
    const [doubt, ...more] = stepDoubts(block, walk, length - 1, 0);
    expect(more).toEqual([]);
    expect(norm(doubt?.velocityMps ?? [0, 0, 0])).toBeGreaterThan(lost / 2.5);
    expect(norm(doubt?.velocityMps ?? [0, 0, 0])).toBeLessThan(1.5 * lost);
  });

  it('holds what one sample may miss of a narrow blow, and hardly anything of a wide one', () => {
    const blow =
      (half: number) =>
      (t: number): Vec3 => [
        Math.max(0, 200 * Math.cos(((t - 0.2512) / half) * (Math.PI / 2))) * (Math.abs(t - 0.2512) < half ? 1 : 0),
        0,
        0,
      ];
    const doubtOf = (half: number) => {
      const { block, walk } = walked(blow(half), still);
      return Math.hypot(0, ...stepDoubts(block, walk, length - 1, 0).map(({ velocityMps }) => norm(velocityMps)));
    };
    const missed = (half: number) => {
      const { walk } = walked(blow(half), still);
      let sum = 0;
      for (let k = 0; k < length; k++) sum += (walk.forceMps2[3 * k] as number) * stepS;
      return Math.abs(sum - 200 * half * (4 / Math.PI));
    };
    expect(missed(0.004)).toBeLessThan(2 * doubtOf(0.004));
    expect(missed(0.004)).toBeGreaterThan(0.1 * doubtOf(0.004));
    expect(doubtOf(0.025)).toBe(0);
  });

  it('is of the size of the turn that a gyroscope at its end does not show', () => {
    const half = 0.06;
    const rate = (t: number): Vec3 => [0, -Math.max(0, 25 * (1 - ((t - 0.3) / half) ** 2)), 0];
    const { block, walk } = walked(gravity, rate, { force: 1e9, spin: 17.45 });
    const lost = 25 * half * beyond(17.45 / 25);
    const [doubt] = turnDoubts(block, walk, length - 1, 0);
    const turn = doubt?.turnRad ?? [0, 0, 0];
    expect(turn[1]).toBeLessThan(-0.6 * lost);
    expect(turn[1]).toBeGreaterThan(-1.6 * lost);
    expect(turn[0]).toBe(0);
  });
});

describe('the velocity some way before release', () => {
  it('is in doubt by the sensitivity of each axis times what its force adds up to', () => {
    const { block, walk } = walked(() => [4, 0, 9.80665], still);
    const along = (axis: Vec3) =>
      Math.hypot(...velocityDoubts(block, walk, length - 1, 0.1).map((doubt) => dot(doubt, axis)));
    // Datasheets of consumer parts: 0.3 to 1 % of sensitivity.
    expect(along([0, 0, 1]) / (9.80665 * 0.4)).toBeGreaterThan(0.003);
    expect(along([0, 0, 1]) / (9.80665 * 0.4)).toBeLessThan(0.01);
    expect(along([1, 0, 0]) / along([0, 0, 1])).toBeCloseTo(4 / 9.80665, 6);
    expect(along([0, 1, 0])).toBe(0);
  });
});
