import { describe, expect, it } from 'vitest';
import { ballBodies, stillAir } from '../../src/simulate/ball-body.ts';
import { newState, setVector, stateLayout, vectorAt } from '../../src/simulate/ball-state.ts';
import { dampingFor } from '../../src/simulate/contact-forces.ts';
import { hoopAt, usualFloor, usualNetGripPerMs } from '../../src/simulate/court.ts';
import { type BallWorld, FreeMotion } from '../../src/simulate/free-motion.ts';
import { Motion } from '../../src/simulate/motion.ts';
import { add, cross, dot, norm, rotate, rotateBack, scale, type Vec3 } from '../../src/simulate/vectors.ts';

const g = 9.80665;
const { position: P, velocity: V, attitude: Q, rate: W } = stateLayout;
const noAir = { ...stillAir, dragCoefficient: 0, liftSlope: 0, spinDecayPerS: 0 };

function world(changes: Partial<BallWorld> = {}): BallWorld {
  return { ball: ballBodies[7], air: noAir, court: { floor: usualFloor, hoop: null }, gravityMps2: g, ...changes };
}

function state(positionM: Vec3, velocityMps: Vec3, rateRadps: Vec3 = [0, 0, 0]): Float64Array {
  const s = newState();
  setVector(s, P, positionM);
  setVector(s, V, velocityMps);
  setVector(s, W, rateRadps);
  return s;
}

function attitude(s: Float64Array) {
  return [s[Q] as number, s[Q + 1] as number, s[Q + 2] as number, s[Q + 3] as number] as const;
}

/** Angular momentum in the room over (2/3) m R². */
function angularMomentum(s: Float64Array, ratio: Vec3): Vec3 {
  const body = rotateBack(attitude(s), vectorAt(s, W));
  return rotate(attitude(s), [body[0] * ratio[0], body[1] * ratio[1], body[2] * ratio[2]]);
}

describe('a ball in the air', () => {
  it('keeps its energy without air', () => {
    const end = new FreeMotion(world()).run(state([0, 0, 2], [4, 1, 6]), 0, 1).end;
    const energy = (s: Float64Array) => 0.5 * norm(vectorAt(s, V)) ** 2 + g * (s[P + 2] as number);
    expect(energy(end)).toBeCloseTo(energy(state([0, 0, 2], [4, 1, 6])), 9);
  });

  it('keeps angular momentum and energy of rotation when unbalanced', () => {
    const ratio: Vec3 = [0.97, 1.01, 1.03];
    const start = state([0, 0, 50], [0, 0, 0], [3, -14, 4]);
    const unbalanced = world({ ball: { ...ballBodies[7], inertiaRatio: ratio } });
    const end = new FreeMotion(unbalanced).run(start, 0, 2).end;
    const before = angularMomentum(start, ratio);
    const after = angularMomentum(end, ratio);
    for (const i of [0, 1, 2] as const) expect(after[i]).toBeCloseTo(before[i], 7);
    const spinEnergy = (s: Float64Array) => dot(vectorAt(s, W), angularMomentum(s, ratio));
    expect(spinEnergy(end)).toBeCloseTo(spinEnergy(start), 6);
    expect(norm(add(vectorAt(end, W), scale(vectorAt(start, W), -1)))).toBeGreaterThan(0.05);
  });

  it('nutates at the rate of a symmetric top: (I3 − I1) / I1 times the axial rate, seen in the ball', () => {
    const symmetric = world({ ball: { ...ballBodies[7], inertiaRatio: [1, 1, 1.04] } });
    const period = (2 * Math.PI) / (0.04 * 12);
    const run = new FreeMotion(symmetric).run(state([0, 0, 1000], [0, 0, 0], [2, 0, 12]), 0, period / 4);
    const body = rotateBack(attitude(run.end), vectorAt(run.end, W));
    expect(body[0]).toBeCloseTo(0, 6);
    expect(Math.abs(body[1])).toBeCloseTo(2, 6);
    expect(body[2]).toBeCloseTo(12, 9);
  });

  it('loses spin exponentially and keeps its axis', () => {
    const slowing = world({ air: { ...noAir, spinDecayPerS: 0.05 } });
    const end = new FreeMotion(slowing).run(state([0, 0, 50], [0, 0, 0], [1, -12, 2]), 0, 1.5).end;
    const kept = Math.exp(-0.05 * 1.5);
    const rate = vectorAt(end, W);
    [1, -12, 2].forEach((before, i) => {
      expect(rate[i]).toBeCloseTo(before * kept, 9);
    });
  });

  it('turns by the angle of its rate', () => {
    const end = new FreeMotion(world()).run(state([0, 0, 50], [0, 0, 0], [0, -4 * Math.PI, 0]), 0, 0.625).end;
    // One and a quarter turns about −y: the ball's x axis points up.
    const x = rotate(attitude(end), [1, 0, 0]);
    expect(x[2]).toBeCloseTo(1, 8);
  });

  it('drifts to its left with spin about +z by the Magnus force', () => {
    const lifting = world({ air: { ...noAir, liftSlope: 0.5 } });
    const end = new FreeMotion(lifting).run(state([0, 0, 50], [7, 0, 0], [0, 0, 12]), 0, 0.5).end;
    expect(end[P + 1] as number).toBeGreaterThan(0.01);
  });

  it('has no force beyond gravity and air between its nodes', () => {
    const full = world({ air: { ...stillAir, variableDrag: true, buoyancy: true } });
    const run = new FreeMotion(full).run(state([0, 0, 2], [5, 0.3, 6], [1, -14, 3]), 0, 0.9);
    const motion = new Motion(run.segments, full);
    for (let t = 0.0003; t < 0.89; t += 0.00771) expect(motion.forceSizeAt(t)).toBeLessThan(1e-5);
  });
});

describe('a ball on the floor', () => {
  it.each([0.5, 0.73, 0.9])('bounces with restitution %f at any speed', (restitution) => {
    for (const speed of [1, 4, 9]) {
      const weightless = world({ gravityMps2: 0, court: { floor: { ...usualFloor, restitution }, hoop: null } });
      const run = new FreeMotion(weightless).run(state([0, 0, 1], [0, 0, -speed]), 0, 2 / speed);
      expect(run.end[V + 2]).toBeCloseTo(restitution * speed, 3);
    }
  });

  it('touches for 10 to 20 ms', () => {
    const run = new FreeMotion(world()).run(state([0, 0, 1], [0, 0, -3]), 0, 0.5);
    const touch = run.segments.find((segment) => segment.touch === 'floor');
    expect(touch).toBeDefined();
    const lastsS = (touch?.endS ?? 0) - (touch?.startS ?? 0);
    expect(lastsS).toBeGreaterThan(0.01);
    expect(lastsS).toBeLessThan(0.02);
  });

  it('keeps angular momentum about the point of contact', () => {
    // Friction acts at the lowest point: m R v + I omega stays, apart from the small way to that point during the bounce.
    const start = state([0, 0, 0.5], [3, 0, -3], [0, -10, 0]);
    const run = new FreeMotion(world({ gravityMps2: 0 })).run(start, 0, 0.3);
    const radius = ballBodies[7].radiusM;
    const about = (s: Float64Array) => radius * (s[V] as number) + (2 / 3) * radius ** 2 * (s[W + 1] as number);
    expect(about(run.end)).toBeCloseTo(about(start), 2);
    expect(run.end[V] as number).toBeLessThan(3);
    expect(run.end[W + 1] as number).toBeGreaterThan(-10);
  });

  it('never gains energy, and rolls in the end', () => {
    const start = state([0, 0, 1], [2, 0, 0], [0, -15, 0]);
    const energy = (s: Float64Array) =>
      0.5 * norm(vectorAt(s, V)) ** 2 +
      g * (s[P + 2] as number) +
      (ballBodies[7].radiusM ** 2 * norm(vectorAt(s, W)) ** 2) / 3;
    let last = energy(start);
    let worst = 0;
    let sinceTouch = 0;
    const run = new FreeMotion(world()).run(start, 0, 8, (_t, s) => {
      // The spring of the floor borrows energy; compare only in the air.
      if ((s[P + 2] as number) > 0.125) {
        if (sinceTouch++ > 3) worst = Math.max(worst, energy(s) - last);
        last = energy(s);
      } else sinceTouch = 0;
      return false;
    });
    expect(worst).toBeLessThan(1e-6);
    const skin = add(vectorAt(run.end, V), cross(vectorAt(run.end, W), [0, 0, -ballBodies[7].radiusM]));
    expect(Math.hypot(skin[0], skin[1])).toBeLessThan(0.05);
  });

  it('has a damping factor for every restitution up to one', () => {
    expect(dampingFor(1)).toBe(0);
    expect(dampingFor(0.999)).toBeLessThan(0.01);
    expect(() => dampingFor(0)).toThrow('restitution = 0 is outside 0..1');
    expect(() => dampingFor(Number.NaN)).toThrow('outside');
  });
});

describe('a ball at the hoop', () => {
  const atHoop = world({ air: stillAir, court: { floor: usualFloor, hoop: hoopAt(4, 3.05) } });
  const firstTouch = (x: number, y: number, z: number, v: Vec3) => {
    const run = new FreeMotion(atHoop).run(state([x, y, z], v), 0, 2);
    return run.segments.find((segment) => segment.touch !== 'free')?.touch;
  };

  it('drops through the middle into the net', () => {
    expect(firstTouch(4, 0, 3.4, [0, 0, -4])).toBe('net');
  });

  it('meets the ring at its near edge, the board behind, the floor beside', () => {
    expect(firstTouch(4 - 0.2376, 0, 3.4, [0, 0, -4])).toBe('ring');
    expect(firstTouch(4, 0, 3.6, [4, 0, 0])).toBe('board');
    expect(firstTouch(3.2, 0, 3.4, [0, 0, -4])).toBe('floor');
    expect(firstTouch(3.6, 0, 2.9, [3, 0, -1])).toBe('net');
  });

  it('is slowed by the net but falls through', () => {
    const speedBelow = (grip: number) => {
      const hoop = { ...hoopAt(4, 3.05), netGripPerMs: grip };
      const netted = world({ air: stillAir, court: { floor: usualFloor, hoop } });
      const below = (_: number, at: Float64Array) => (at[P + 2] as number) < 2.5;
      const run = new FreeMotion(netted).run(state([4.02, 0.01, 3.05], [2.5, 0, -4.9]), 0, 1, below);
      expect(run.stopped).toBe(true);
      return norm(vectorAt(run.end, V));
    };
    const [loose, stiff] = usualNetGripPerMs;
    expect(speedBelow(loose) / speedBelow(0)).toBeGreaterThan(0.75);
    expect(speedBelow(loose) / speedBelow(0)).toBeLessThan(0.95);
    expect(speedBelow(stiff) / speedBelow(0)).toBeGreaterThan(0.4);
    expect(speedBelow(stiff) / speedBelow(0)).toBeLessThan(0.65);
  });
});
