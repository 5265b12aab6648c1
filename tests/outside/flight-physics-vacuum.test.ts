/**
 * SOURCE: P. J. Brancazio, "Physics of basketball", American Journal of Physics 49 (1981) 356–365: least-effort angle,
 *   least speed, speed for an angle, entry angle; formulas from memory (high confidence). The pairs "13.75 ft from 7 ft:
 *   51 degrees" and "18 ft from 8 ft: a bit more than 48 degrees" were published after that article in newspapers.
 * MADE BY: the formulas evaluated in double precision for each row; g = 9.81 m/s².
 * LICENCE: formulas and numbers, no text taken.
 * TOLERANCE: half of the last digit of the rows; the solver itself converges to 1e-8.
 */
import { describe, expect, it } from 'vitest';
import { leastSpeed, passageAt, solveSpeed } from '../../src/simulate/aim.ts';
import { ballBodies, stillAir } from '../../src/simulate/ball-body.ts';
import type { Vec3 } from '../../src/simulate/vectors.ts';

const g = 9.81;
const degree = Math.PI / 180;
const vacuum = {
  ball: ballBodies[7],
  air: { ...stillAir, dragCoefficient: 0, liftSlope: 0, spinDecayPerS: 0 },
  gravityMps2: g,
};
const noSpin: Vec3 = [0, 0, 0];

/** Level distance, rise, least-effort angle, least speed, entry angle, time of flight. */
const leastEffort = [
  [4.191, 0.9144, 51.154, 7.145, 38.846, 0.9352],
  [4.57, 0.61, 48.801, 7.1564, 41.199, 0.9695],
  [4.225, 1.05, 51.978, 7.2807, 38.022, 0.9421],
  [6.75, 0.95, 49.006, 8.7287, 40.994, 1.1789],
  [7.24, 0.65, 47.565, 8.814, 42.435, 1.2174],
] as const;

/** Free throw from 7 ft: angle, speed, time, entry angle. */
const freeThrows = [
  [45, 7.2517, 0.8173, 29.41],
  [48, 7.1727, 0.8732, 33.99],
  [50, 7.1487, 0.9121, 37.07],
  [52, 7.147, 0.9525, 40.15],
  [55, 7.1862, 1.0168, 44.76],
  [60, 7.3699, 1.1373, 52.34],
] as const;

function thrown(speedMps: number, angleDeg: number, heightM: number) {
  const angle = angleDeg * degree;
  const passage = passageAt(
    vacuum,
    [0, 0, 0],
    [speedMps * Math.cos(angle), 0, speedMps * Math.sin(angle)],
    noSpin,
    heightM,
  );
  if (!passage) throw new Error('the ball does not reach the height');
  const [vx, , vz] = passage.velocityMps;
  return { ...passage, entryDeg: Math.atan2(-vz, vx) / degree };
}

describe('flight without air', () => {
  it.each(leastEffort)(
    '%f m, %f m up: angle, least speed, entry and time of least effort',
    (distance, rise, angle, speed, entry, time) => {
      const byFormula = 45 + (0.5 * Math.atan2(rise, distance)) / degree;
      expect(byFormula).toBeCloseTo(angle, 3);
      expect(solveSpeed(vacuum, distance, rise, angle * degree, noSpin)).toBeCloseTo(speed, 3);
      expect(leastSpeed(vacuum, distance, rise)).toBeCloseTo(Math.sqrt(g * (rise + Math.hypot(rise, distance))), 3);
      const flight = thrown(speed, angle, rise);
      expect(Math.abs(flight.timeS - time)).toBeLessThan(2e-4);
      expect(Math.abs(flight.entryDeg - entry)).toBeLessThan(0.02);
      // At least effort the entry angle is the complement of the launch angle.
      expect(Math.abs(flight.entryDeg - (90 - angle))).toBeLessThan(0.02);
    },
  );

  it.each(freeThrows)('a free throw from 7 ft at %f degrees', (angle, speed, time, entry) => {
    const solved = solveSpeed(vacuum, 4.191, 0.9144, angle * degree, noSpin);
    expect(Math.abs((solved as number) - speed)).toBeLessThan(6e-5);
    const flight = thrown(solved as number, angle, 0.9144);
    expect(Math.abs(flight.timeS - time)).toBeLessThan(6e-5);
    expect(Math.abs(flight.entryDeg - entry)).toBeLessThan(6e-3);
    expect(Math.tan(flight.entryDeg * degree)).toBeCloseTo(Math.tan(angle * degree) - (2 * 0.9144) / 4.191, 6);
  });

  it('reproduces the published least-effort angles', () => {
    expect(45 + (0.5 * Math.atan2(10 - 7, 13.75)) / degree).toBeCloseTo(51.15, 2);
    expect(leastSpeed(vacuum, 13.75 * 0.3048, 3 * 0.3048)).toBeCloseTo(
      solveSpeed(vacuum, 4.191, 0.9144, 51.15 * degree, noSpin) as number,
      3,
    );
    expect(45 + (0.5 * Math.atan2(10 - 8, 18)) / degree).toBeCloseTo(48.17, 2);
  });

  it('finds no speed where the least one is not reached: 7.15 m/s for 4.57 m and 0.61 m up', () => {
    for (let angle = 30; angle <= 70; angle += 1) {
      const speed = solveSpeed(vacuum, 4.57, 0.61, angle * degree, noSpin);
      if (speed !== null) expect(speed).toBeGreaterThan(7.15);
    }
    expect(solveSpeed(vacuum, 4.57, 0.61, 5 * degree, noSpin)).toBeNull();
  });
});
