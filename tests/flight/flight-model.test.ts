import { describe, expect, it } from 'vitest';
import { type AirModel, airForce, liftShare } from '../../src/flight/flight-model.ts';
import { cross, norm, scale, subtract, type Vec3 } from '../../src/signal/vec3.ts';

const stillAir: AirModel = {
  dragPerM: 0,
  dragSlope: 0,
  dragBend: 0,
  liftPerRad: 0,
  liftSlope: 0,
  buoyancyMps2: 0,
};

describe('lift', () => {
  // SOURCE: Nathan 2008, Am. J. Phys. 76:119, eq. for baseballs: C_L = S / (2.32 S + 0.4), S = R ω / v.
  const coefficient = (s: number) => s / (2.32 * s + 0.4);
  const radiusM = 0.12;
  const spinRadps = 12;
  /** Acceleration of the lift per unit of air density times area over twice the mass, m/s² · m. */
  const measured = (speedMps: number) => coefficient((radiusM * spinRadps) / speedMps) * speedMps * speedMps;

  it('follows a measured law from 2 to 15 m/s, told at 7 m/s by its size and slope', () => {
    const b = (5.8 * radiusM * spinRadps) / 7;
    const air = { ...stillAir, liftPerRad: measured(7) / (spinRadps * 7), liftSlope: b / (1 + b) };
    for (const speedMps of [2, 4, 5.5, 7, 9, 15]) {
      const force = airForce([speedMps, 0, 0], [0, -spinRadps, 0], [0, 0, 1], air);
      expect(force[2]).toBeCloseTo(measured(speedMps), 7);
      expect(Math.hypot(force[0], force[1])).toBeLessThan(1e-12);
    }
  });

  it('is proportional to spin and speed where its slope is 0', () => {
    const air = { ...stillAir, liftPerRad: 0.003 };
    const v: Vec3 = [3, -1, 5];
    const w: Vec3 = [2, -11, 4];
    expect(norm(subtract(airForce(v, w, [0, 0, 1], air), scale(cross(w, v), 0.003)))).toBeLessThan(1e-9);
  });

  it('has the slope it is given, and stays finite beyond any law', () => {
    for (const slope of [-0.4, 0, 0.3, 0.7]) {
      expect((liftShare(7.007, slope) - liftShare(6.993, slope)) / 0.002).toBeCloseTo(slope, 5);
    }
    for (const slope of [-3, -0.5, 0, 1.5]) {
      for (const speedMps of [0, 0.1, 7, 40]) {
        expect(liftShare(speedMps, slope)).toBeGreaterThanOrEqual(0);
        expect(liftShare(speedMps, slope)).toBeLessThanOrEqual(4);
      }
    }
  });
});
