/**
 * SOURCE: vacuum formulas of Brancazio 1981, Am. J. Phys. 49:356 (least speed, angle of least speed, entry angle at it);
 * free throw of Tran & Silverberg 2008, J. Sports Sci. 26:1147 (52°, about 3 rev/s, ball leaves at 7 ft).
 * MADE BY: values computed from the formulas with g = 9.81 m/s²; the analyser's constant is 9.80665, hence the tolerance.
 * LICENCE: facts.
 * TOLERANCE: g differs by 3.4e-4, speeds go with its root (1.7e-4 · 7 m/s = 1.2 mm/s); the search stops within 1 mm/s.
 */
import { describe, expect, it } from 'vitest';
import { type ArcAero, type ArcPoint, apexOf, fallThrough, leastSpeedMps } from '../../src/flight/arc.ts';

const vacuum: ArcAero = {
  dragPerM: 0,
  dragSlope: 0,
  dragBend: 0,
  liftSlope: 0,
  liftPerRad: 0,
  buoyancyMps2: 0,
  spinRadps: [0, 0, 0],
};

function launch(speedMps: number, angleDeg: number): ArcPoint {
  const angle = (angleDeg * Math.PI) / 180;
  return { timeS: 0, positionM: [0, 0, 0], velocityMps: [speedMps * Math.cos(angle), 0, speedMps * Math.sin(angle)] };
}

/** Brancazio 1981: v² = g (h + √(h² + L²)). */
const leastInVacuum = (distanceM: number, heightM: number) =>
  Math.sqrt(9.80665 * (heightM + Math.hypot(heightM, distanceM)));

describe('least speed to a point in vacuum', () => {
  it.each([
    [4.191, 0.9144, 7.145],
    [4.57, 0.61, 7.1564],
    [4.225, 1.05, 7.2807],
    [6.75, 0.95, 8.7287],
    [7.24, 0.65, 8.814],
  ])('%f m out, %f m up: %f m/s', (distanceM, heightM, expectedMps) => {
    const found = leastSpeedMps(distanceM, heightM, vacuum, 0) as number;
    expect(Math.abs(found - expectedMps)).toBeLessThan(0.003);
    expect(Math.abs(found - leastInVacuum(distanceM, heightM))).toBeLessThan(0.002);
  });
});

describe('free throw from 7 ft, vacuum: entry angle and time of flight', () => {
  it.each([
    [45, 7.2517, 0.8173, 29.41],
    [52, 7.147, 0.9525, 40.15],
    [60, 7.3699, 1.1373, 52.34],
  ])('at %f°, %f m/s', (angleDeg, speedMps, flightS, entryDeg) => {
    const end = fallThrough(launch(speedMps, angleDeg), vacuum, 0.9144) as ArcPoint;
    expect(Math.abs(end.timeS - flightS)).toBeLessThan(0.001);
    const entry = (Math.atan2(-end.velocityMps[2], end.velocityMps[0]) * 180) / Math.PI;
    expect(Math.abs(entry - entryDeg)).toBeLessThan(0.05);
    expect(Math.abs(end.positionM[0] - 4.191)).toBeLessThan(0.005);
  });
});

describe('with drag: coefficient 0.5, air 1.204 kg/m³, 0.6237 kg, 0.2426 m, from 2.1336 m to 3.048 m', () => {
  const radius = 0.2426 / 2;
  const dragged: ArcAero = { ...vacuum, dragPerM: (0.5 * 1.204 * Math.PI * radius * radius) / (2 * 0.6237) };
  it.each([
    [7, 50, 3.6131, 0.8439, 36.62],
    [7.5, 52, 4.2555, 0.9784, 42.89],
    [9, 48, 6.3389, 1.1465, 42.86],
  ])('%f m/s at %f°', (speedMps, angleDeg, distanceM, flightS, entryDeg) => {
    const end = fallThrough(launch(speedMps, angleDeg), dragged, 3.048 - 2.1336) as ArcPoint;
    // g is 3.4e-4 smaller here: the ball flies about 3 mm farther.
    expect(Math.abs(end.positionM[0] - distanceM)).toBeLessThan(0.006);
    expect(Math.abs(end.timeS - flightS)).toBeLessThan(0.001);
    const entry = (Math.atan2(-end.velocityMps[2], end.velocityMps[0]) * 180) / Math.PI;
    expect(Math.abs(entry - entryDeg)).toBeLessThan(0.06);
  });

  it('the 52° free throw stays within 5 cm below a 13 ft board top only with drag', () => {
    const top = (speedMps: number, aero: ArcAero) => 2.1336 + apexOf(launch(speedMps, 52), aero).positionM[2] + radius;
    const boardTopM = 13 * 0.3048;
    const below = boardTopM - top(7.4498, dragged);
    expect(below).toBeGreaterThan(0);
    expect(below).toBeLessThan(0.05);
    expect(boardTopM - top(7.147, vacuum)).toBeGreaterThan(0.05);
  });
});
