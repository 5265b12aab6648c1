/**
 * SOURCE: quadratic drag of a sphere, coefficient 0.5, air 1.204 kg/m³ (20 °C), ball 0.6237 kg and 0.2426 m across, g = 9.81
 *   m/s²; closed form of the vertical fall with quadratic drag (any mechanics text). Free throw: C. M. Tran and L. M.
 *   Silverberg, "Optimal release conditions for the free throw in men's basketball", Journal of Sports Sciences 26 (2008)
 *   1147–1155: 7 ft, 52 degrees, about 3 Hz of backspin, the top of the ball passing less than 2 inches below the top of
 *   the board, about three revolutions before the hoop (quoted from newspapers of that year). Rebound of the floor: a ball
 *   dropped from 1.8 m (its bottom) rises to 1.2–1.4 m (its top), rules of FIBA, older edition.
 * MADE BY: grid rows computed with another solver of the same law.
 * LICENCE: numbers, no text taken.
 * TOLERANCE: half of the last digit of the rows; for the closed form the fourth-order error of 1 ms steps, far below 1e-9.
 */
import { describe, expect, it } from 'vitest';
import { passageAt, solveSpeed } from '../../src/simulate/aim.ts';
import { ballBodies, dragPerM, stillAir } from '../../src/simulate/ball-body.ts';
import { newState, setVector, stateLayout } from '../../src/simulate/ball-state.ts';
import { usualFloor } from '../../src/simulate/court.ts';
import { FreeMotion } from '../../src/simulate/free-motion.ts';
import type { Vec3 } from '../../src/simulate/vectors.ts';

const g = 9.81;
const degree = Math.PI / 180;
const ball = ballBodies[7];
const air = { ...stillAir, liftSlope: 0, spinDecayPerS: 0 };
const withDrag = { ball, air, gravityMps2: g };
const inVacuum = { ...withDrag, air: { ...air, dragCoefficient: 0 } };
const noSpin: Vec3 = [0, 0, 0];

function thrown(physics: typeof withDrag, speedMps: number, angleDeg: number, fromM: number, toM: number) {
  const angle = angleDeg * degree;
  const from: Vec3 = [0, 0, fromM];
  const passage = passageAt(physics, from, [speedMps * Math.cos(angle), 0, speedMps * Math.sin(angle)], noSpin, toM);
  if (!passage) throw new Error('the ball does not reach the height');
  const [vx, , vz] = passage.velocityMps;
  return { ...passage, entryDeg: Math.atan2(-vz, vx) / degree };
}

describe('flight with drag', () => {
  it.each([
    [7.0, 50, 3.6131, 0.8439, 36.62, 3.9678],
    [7.5, 52, 4.2555, 0.9784, 42.89, 4.7219],
    [9.0, 48, 6.3389, 1.1465, 42.86, 7.2834],
  ])('%f m/s at %f degrees from 2.1336 m to 3.048 m', (speed, angle, distance, time, entry, inVacuumM) => {
    const flight = thrown(withDrag, speed, angle, 2.1336, 3.048);
    expect(Math.abs(flight.positionM[0] - distance)).toBeLessThan(6e-5);
    expect(Math.abs(flight.timeS - time)).toBeLessThan(6e-5);
    expect(Math.abs(flight.entryDeg - entry)).toBeLessThan(6e-3);
    expect(Math.abs(thrown(inVacuum, speed, angle, 2.1336, 3.048).positionM[0] - inVacuumM)).toBeLessThan(6e-5);
  });

  it('needs 9.1667 m/s instead of 8.6014 for 6.75 m at 48 degrees', () => {
    expect(Math.abs((solveSpeed(withDrag, 6.75, 0.75, 48 * degree, noSpin) as number) - 9.1667)).toBeLessThan(6e-5);
    expect(Math.abs((solveSpeed(inVacuum, 6.75, 0.75, 48 * degree, noSpin) as number) - 8.6014)).toBeLessThan(6e-5);
  });

  it('has drag of 0.111 g at 7 m/s and falls at last with 20.97 m/s', () => {
    expect((dragPerM(ball, air) * 49) / g).toBeCloseTo(0.111, 3);
    expect(Math.sqrt(g / dragPerM(ball, air))).toBeCloseTo(20.97, 2);
  });

  it('falls as the closed form says: v = u tanh(g t / u), z = u²/g ln cosh(g t / u)', () => {
    const from = newState();
    setVector(from, stateLayout.position, [0, 0, 100]);
    const world = { ball, air, gravityMps2: g, court: { floor: usualFloor, hoop: null } };
    const end = new FreeMotion(world).run(from, 0, 2).end;
    const u = Math.sqrt(g / dragPerM(ball, air));
    expect(end[stateLayout.velocity + 2]).toBeCloseTo(-u * Math.tanh((g * 2) / u), 9);
    expect(end[stateLayout.position + 2]).toBeCloseTo(100 - (u * u * Math.log(Math.cosh((g * 2) / u))) / g, 9);
  });
});

describe('the free throw at 52 degrees from 7 ft', () => {
  const inch = 0.0254;
  const boardTopM = 13 * 12 * inch;
  /** How far the top of the ball passes below the top of the board, in inches. */
  const below = (physics: typeof withDrag, distance: number) => {
    const speed = solveSpeed(physics, distance, 0.9144, 52 * degree, noSpin) as number;
    const flight = thrown(physics, speed, 52, 2.1336, 3.048);
    return { speed, timeS: flight.timeS, inches: (boardTopM - flight.apexM - ball.radiusM) / inch };
  };

  it('is thrown with 7.45 m/s at the centre and 7.49 m/s at 5 cm from the back of the ring', () => {
    const centre = below(withDrag, 4.191);
    const back = below(withDrag, 4.2486);
    expect(centre.speed).toBeCloseTo(7.4498, 4);
    expect(back.speed).toBeCloseTo(7.4946, 4);
    expect(centre.timeS).toBeCloseTo(0.969, 3);
    expect(back.timeS).toBeCloseTo(0.977, 3);
  });

  it('passes within 2 in (5 cm) below the top of the board with drag, and only with drag', () => {
    expect(below(withDrag, 4.191).inches).toBeCloseTo(1.73, 1);
    expect(below(withDrag, 4.2486).inches).toBeCloseTo(0.98, 1);
    expect(below(inVacuum, 4.191).inches).toBeGreaterThan(2);
    expect(below(inVacuum, 4.2486).inches).toBeGreaterThan(2);
  });

  it('turns about three times at 3 Hz before the hoop', () => {
    expect(3 * below(withDrag, 4.2486).timeS).toBeCloseTo(2.93, 2);
  });
});

describe('the floor', () => {
  /** Height of the ball's top after a drop of its bottom from 1.8 m. */
  function reboundTopM(restitution: number, physics: typeof withDrag): number {
    const from = newState();
    setVector(from, stateLayout.position, [0, 0, 1.8 + ball.radiusM]);
    const world = { ...physics, court: { floor: { ...usualFloor, restitution }, hoop: null } };
    let bounced = false;
    const run = new FreeMotion(world).run(from, 0, 3, (_t, s) => {
      if ((s[stateLayout.velocity + 2] as number) > 0.5) bounced = true;
      return bounced && (s[stateLayout.velocity + 2] as number) <= 0;
    });
    return (run.end[stateLayout.position + 2] as number) + ball.radiusM;
  }

  it('lets the ball of the rules rise to 1.2–1.4 m', () => {
    const topM = reboundTopM(usualFloor.restitution, withDrag);
    expect(topM).toBeGreaterThan(1.2);
    expect(topM).toBeLessThan(1.4);
  });

  it.each([0.73, 0.765, 0.8])('gives restitution %f back as the root of (top − diameter) over drop', (restitution) => {
    // Gravity acts during the 15 ms of contact too: it takes up to about g 15 ms / 6 m/s = 2.5 % of the speed.
    const measured = Math.sqrt((reboundTopM(restitution, inVacuum) - 2 * ball.radiusM) / 1.8);
    expect(Math.abs(measured - restitution)).toBeLessThan(0.025 * restitution);
  });
});
