import { describe, expect, it } from 'vitest';
import { newState, stateLayout, vectorAt } from '../../src/simulate/ball-state.ts';
import { HandPhase } from '../../src/simulate/hand-phase.ts';
import { HeldSegment } from '../../src/simulate/held-segment.ts';
import { fadingForcePiece, growingForcePiece, growthShapes, pointOf, Track } from '../../src/simulate/track.ts';
import {
  multiplyQuat,
  normaliseQuat,
  type Quat,
  quatFromRotationVector,
  type Vec3,
} from '../../src/simulate/vectors.ts';

const at = { value: [0.1, 0.2, 0.9], slope: [1, -2, 3], bend: [0, 0, -9.8] } as const;

describe('a growing hand force', () => {
  it.each(Object.keys(growthShapes) as (keyof typeof growthShapes)[])(
    '%s starts with free flight and ends with the whole force',
    (shape) => {
      const piece = growingForcePiece(at, [10, 20, 60], shape, 0.02);
      expect(pointOf(piece, 0)).toEqual(at);
      const end = pointOf(piece, 0.02);
      expect(end.bend[0]).toBeCloseTo(10, 9);
      expect(end.bend[2]).toBeCloseTo(50.2, 9);
      // Position and velocity are the integrals of the acceleration.
      const h = 1e-5;
      for (const t of [0.003, 0.011, 0.017]) {
        const [before, here, after] = [pointOf(piece, t - h), pointOf(piece, t), pointOf(piece, t + h)];
        expect((after.value[2] - before.value[2]) / (2 * h)).toBeCloseTo(here.slope[2], 6);
        expect((after.slope[2] - before.slope[2]) / (2 * h)).toBeCloseTo(here.bend[2], 4);
      }
    },
  );

  it('fades as its mirror image and ends in free flight', () => {
    const piece = fadingForcePiece(at, [0, 0, 40], 'linear', 0.02);
    const end = pointOf(piece, 0.02);
    for (const i of [0, 1, 2] as const) {
      expect(end.value[i]).toBeCloseTo(at.value[i], 12);
      expect(end.slope[i]).toBeCloseTo(at.slope[i], 10);
      expect(end.bend[i]).toBeCloseTo(at.bend[i], 8);
    }
    expect(pointOf(piece, 0).bend[2]).toBeCloseTo(30.2, 8);
    expect(pointOf(piece, 0.01).bend[2]).toBeCloseTo(10.2, 8);
  });
});

describe('a ball in the hands', () => {
  const phase = () =>
    new HandPhase(at, { value: [1, 2, -1], slope: [0, 30, 0] })
      .take([5, 5, 30], 'smooth', 0.01)
      .to([0.3, 0.1, 0.8], 0.25)
      .turn([4, -3, 2], 0.15)
      .to([0.2, 0, 1.8], 0.3, [0, 0, 2], [1, 0, 20])
      .turn([0, -12, 1]);

  it('moves without a jump of acceleration or turning', () => {
    const { path, turning } = phase().tracks();
    const segment = new HeldSegment(0, path, turning, [1, 0, 0, 0]);
    const a = newState();
    const b = newState();
    for (const t of [0.01, 0.15, 0.26]) {
      segment.stateAt(t - 1e-9, a);
      segment.stateAt(t + 1e-9, b);
      for (let i = 0; i < stateLayout.size; i++) {
        // Quintic paths have third derivatives up to some 1e4 m/s³ here; the rate's slope may kink but not jump.
        expect(Math.abs((a[i] as number) - (b[i] as number))).toBeLessThan(1e-4);
      }
    }
  });

  it('turns as its angular rate says: against tiny exponential steps', () => {
    const { path, turning } = phase().tracks();
    const segment = new HeldSegment(0, path, turning, [1, 0, 0, 0]);
    const end = newState();
    segment.stateAt(segment.endS, end);
    let q: Quat = [1, 0, 0, 0];
    const steps = 100_000;
    const h = segment.endS / steps;
    const w = new Float64Array(6);
    for (let i = 0; i < steps; i++) {
      turning.at((i + 0.5) * h, w, 0, 3, -1);
      q = normaliseQuat(
        multiplyQuat(quatFromRotationVector([h * (w[0] as number), h * (w[1] as number), h * (w[2] as number)]), q),
      );
    }
    // The comparison's own error is of order h² times the commutator of the rates: 1e-8.
    q.forEach((component, i) => {
      expect(end[stateLayout.attitude + i]).toBeCloseTo(component, 7);
    });
  });

  it('refuses a turning that does not end with the path', () => {
    const short = new HandPhase(at, { value: [0, 0, 0], slope: [0, 0, 0] }).to([0, 0, 1], 0.2).turn([0, 0, 0], 0.1);
    expect(() => short.tracks()).toThrow('must end together');
    expect(() => short.turn([0, 0, 0], 0.05)).toThrow('does not come after');
  });

  it('goes where it is told', () => {
    const { path, turning } = phase().tracks();
    const segment = new HeldSegment(2, path, turning, [1, 0, 0, 0]);
    const s = newState();
    segment.stateAt(2.26, s);
    const middle: Vec3 = vectorAt(s, stateLayout.position);
    expect(middle[0]).toBeCloseTo(0.3, 12);
    expect(middle[2]).toBeCloseTo(0.8, 12);
    expect(new Track([]).durationS).toBe(0);
  });
});
