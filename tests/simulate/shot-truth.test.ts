/** Truth by the definitions on motions made by hand, where the answer is known in closed form. */
import { describe, expect, it } from 'vitest';
import type { FlightMark } from '../../src/simulate/act-builder.ts';
import { ballBodies, stillAir } from '../../src/simulate/ball-body.ts';
import { type MotionSegment, newState, setVector, stateLayout } from '../../src/simulate/ball-state.ts';
import { hoopAt, usualFloor } from '../../src/simulate/court.ts';
import { drawShotPlan, usualPractice } from '../../src/simulate/draw-plan.ts';
import { type BallWorld, FreeMotion } from '../../src/simulate/free-motion.ts';
import { HandPhase } from '../../src/simulate/hand-phase.ts';
import { HeldSegment } from '../../src/simulate/held-segment.ts';
import { firstInstant, lastInstant, Motion } from '../../src/simulate/motion.ts';
import { Random } from '../../src/simulate/random.ts';
import { measureShotTruth } from '../../src/simulate/shot-truth.ts';
import type { PathPoint } from '../../src/simulate/track.ts';
import type { Vec3 } from '../../src/simulate/vectors.ts';

const g = 10;
const spin: Vec3 = [1, -10, 2];
const noAir = { ...stillAir, dragCoefficient: 0, liftSlope: 0, spinDecayPerS: 0 };
const world: BallWorld = {
  ball: ballBodies[7],
  air: noAir,
  court: { floor: usualFloor, hoop: hoopAt(4, 3.05) },
  gravityMps2: g,
};
const plan = drawShotPlan(new Random('any'), usualPractice, { hoopHeightM: 3.05, distanceM: 4 });
const still = { value: [0, 0, 0], slope: [0, 0, 0] } as const;

/** Velocity at release, 45 degrees upward and a little to the left of x. */
const heading = 0.1;
const launch: Vec3 = [5 * Math.cos(heading), 5 * Math.sin(heading), 5];
const release: PathPoint = { value: [0.4, 0, 2.2], slope: launch, bend: [0, 0, -g] };
const fade = { pushMps2: [0, 0, 40] as Vec3, shape: 'linear' as const, fadeS: 0.02 };

function shot(phase: HandPhase, source: FlightMark['source'], handStartS = 0) {
  phase.letGo(release, fade, 0.18).turn(spin);
  const { path, turning } = phase.tracks();
  const held = new HeldSegment(0, path, turning, [1, 0, 0, 0]);
  const from = newState();
  held.stateAt(held.endS, from);
  const run = new FreeMotion(world).run(from, held.endS, 2);
  const segments: MotionSegment[] = [held, ...run.segments];
  const mark: FlightMark = { handStartS, source, flightStartS: held.endS, segmentIndex: 1, world };
  return { truth: measureShotTruth(new Motion(segments, world), mark, plan), flightStartS: held.endS };
}

const falling: PathPoint = { value: [0.3, 0.2, 1.4], slope: [0, 0, -1], bend: [0, 0, -g] };

describe('the truth of a shot made by hand', () => {
  // Caught falling at 1.4 m; down to 0.9 m within 0.3 s in all, still there for 0.2 s, up.
  const caught = () =>
    new HandPhase(falling, still)
      .take([0, 0, 30], 'linear', 0.01)
      .to([0.3, 0.2, 0.9], 0.29)
      .to([0.3, 0.2, 0.9], 0.2)
      .to([0.2, 0.1, 1.7], 0.4, [0, 0, 1]);

  it('puts release where a force falling linearly from 40 m/s² in 20 ms passes 0.5 m/s²', () => {
    const { truth, flightStartS } = shot(caught(), 'pass');
    expect(truth.releaseS).toBeCloseTo(flightStartS - (0.02 * 0.5) / 40, 5);
  });

  it('puts pickup where the catching force, growing by 30 m/s² in 10 ms, passes 0.5 m/s²', () => {
    const { truth } = shot(caught(), 'pass');
    expect(truth.startKind).toBe('catch');
    expect(truth.pickupS).toBeCloseTo((0.01 * 0.5) / 30, 5);
    expect(shot(caught(), 'dribble').truth.startKind).toBe('dribble');
  });

  it('ends the lowest band 1 cm above the lowest height, where a quintic rise passes it', () => {
    const { truth, flightStartS } = shot(caught(), 'pass');
    const { liftS, measures } = truth;
    // The rise from 0.9 m: z = 0.8 (10 u³ − 15 u⁴ + 6 u⁵) + 0.4 (−4 u³ + 7 u⁴ − 3 u⁵), u = t / 0.4, with 1 m/s at its end.
    const rise = (u: number) =>
      0.8 * (10 * u ** 3 - 15 * u ** 4 + 6 * u ** 5) + 0.4 * (-4 * u ** 3 + 7 * u ** 4 - 3 * u ** 5);
    let u = 0;
    while (rise(u) < 0.01) u += 1e-6;
    expect(liftS).toBeCloseTo(0.5 + 0.4 * u, 4);
    // Pickup comes when the ball has fallen on at 1 m/s.
    expect(measures.dipDepthM.value).toBeCloseTo(1.4 - (truth.pickupS as number) - 0.91, 5);
    expect(measures.liftToReleaseS.value).toBeCloseTo(truth.releaseS - (liftS as number), 12);
    expect(flightStartS).toBeCloseTo(1.08, 12);
  });

  it('counts as pause what is slower than 0.3 m/s up or down, low here', () => {
    const { truth } = shot(caught(), 'pass');
    expect(truth.pauseAt).toBe('low');
    const pause = truth.measures.pauseS.value as number;
    // 0.2 s at rest, and the slow ends of the quintics around it.
    expect(pause).toBeGreaterThan(0.24);
    expect(pause).toBeLessThan(0.35);
  });

  it('takes the side path from the launch plane through the release point, left positive', () => {
    const { truth } = shot(caught(), 'pass');
    // At (0.3, 0.2) from (0.4, 0): the plane's left normal is (−sin, cos).
    expect(truth.measures.sidePathM.value).toBeCloseTo(0.1 * Math.sin(heading) + 0.2 * Math.cos(heading), 3);
  });

  it('splits the spin in the frame of the launch', () => {
    const { measures } = shot(caught(), 'pass').truth;
    const perTurn = 2 * Math.PI;
    const [c, s] = [Math.cos(heading), Math.sin(heading)];
    // Direction over the flight; the size at release is that of a rate still rising with zero slope: the same to 1e-4.
    expect(measures.spinRps.value).toBeCloseTo(Math.hypot(...spin) / perTurn, 3);
    expect(measures.rifleSpinRps.value).toBeCloseTo((c * spin[0] + s * spin[1]) / perTurn, 3);
    expect(measures.backspinRps.value).toBeCloseTo(-(c * spin[1] - s * spin[0]) / perTurn, 3);
    expect(measures.sidespinRps.value).toBeCloseTo(spin[2] / perTurn, 3);
    const tilt = (Math.atan2(spin[2], -(c * spin[1] - s * spin[0])) * 180) / Math.PI;
    expect(measures.axisTiltDeg.value).toBeCloseTo(tilt, 2);
  });

  it('has the launch, apex, entry and least speed of a throw without air', () => {
    const { measures } = shot(caught(), 'pass').truth;
    expect(measures.launchSpeedMps.value).toBeCloseTo(Math.sqrt(50), 2);
    expect(measures.launchAngleDeg.value).toBeCloseTo(45, 1);
    expect(measures.apexM.value).toBeCloseTo(25 / (2 * g), 2);
    const rise = 3.05 - 2.2;
    const down = Math.sqrt(25 - 2 * g * rise);
    expect(measures.entryAngleDeg.value).toBeCloseTo((Math.atan2(down, 5) * 180) / Math.PI, 1);
    const distance = 3.6;
    const least = Math.sqrt(g * (rise + Math.hypot(rise, distance)));
    expect(measures.speedMarginMps.value).toBeCloseTo(Math.sqrt(50) - least, 2);
  });

  it('has a sideways impulse that ends in no sideways speed', () => {
    const { measures } = shot(caught(), 'pass').truth;
    expect(Number.isFinite(measures.sidewaysImpulseMps.value)).toBe(true);
  });

  it('is a hold after 1.5 s in the hands, with the pickup at the last low rest', () => {
    const long = new HandPhase(falling, still)
      .take([0, 0, 30], 'linear', 0.01)
      .to([0.3, 0.2, 1.1], 0.3)
      .to([0.35, 0.1, 1.2], 0.8)
      .to([0.3, 0.2, 0.9], 0.5)
      .to([0.2, 0.1, 1.7], 0.4, [0, 0, 1]);
    const { truth } = shot(long, 'pass');
    expect(truth.startKind).toBe('hold');
    expect(truth.liftS).toBe(truth.pickupS);
    expect(truth.pickupS as number).toBeGreaterThan(1.61);
    expect(truth.pickupS as number).toBeLessThan(1.71);
    expect(truth.measures.dipDepthM).toEqual({ value: null, reason: 'no-pickup-event' });
  });

  it('is a hold after 0.4 s nearly still and low, but not after 0.3 s', () => {
    const rested = (restS: number) =>
      new HandPhase(falling, still)
        .take([0, 0, 30], 'linear', 0.01)
        .to([0.3, 0.2, 0.9], 0.29)
        .to([0.3, 0.2, 0.9], restS)
        .to([0.2, 0.1, 1.7], 0.4, [0, 0, 1]);
    expect(shot(rested(0.4), 'pass').truth.startKind).toBe('hold');
    expect(shot(rested(0.25), 'pass').truth.startKind).toBe('catch');
  });

  it('has no pickup when the ball was never still low enough', () => {
    const high = new HandPhase({ ...falling, value: [0.3, 0, 1.9] }, still)
      .take([0, 0, 30], 'linear', 0.01)
      .to([0.2, 0, 1.8], 1.7);
    const { truth } = shot(high, 'pass');
    expect(truth.startKind).toBe('hold');
    expect(truth.pickupS).toBeNull();
    expect(truth.timeReasons).toEqual({ pickup: 'no-low-rest', lift: 'no-low-rest' });
    expect(truth.measures.pickupToReleaseS).toEqual({ value: null, reason: 'no-low-rest' });
  });
});

describe('the first contact', () => {
  it('has the impulse of the change of velocity', () => {
    const from = newState();
    setVector(from, stateLayout.position, [0, 0, 1.2]);
    setVector(from, stateLayout.velocity, [0, 0, 0.001]);
    const run = new FreeMotion(world).run(from, 0, 0.7);
    const motion = new Motion(run.segments, world);
    const contactS = firstInstant(0, 0.7, 2e-4, (t) => motion.forceSizeAt(t) > 0.5) as number;
    const leavesS = lastInstant(contactS, 0.6, 2e-4, (t) => motion.forceSizeAt(t) > 0.5) as number;
    const radius = ballBodies[7].radiusM;
    expect(contactS).toBeCloseTo(Math.sqrt((2 * (1.2 - radius)) / g), 3);
    const before = Math.sqrt(2 * g * (1.2 - radius));
    let impulse = 0;
    for (let t = contactS; t < leavesS; t += 1e-5) impulse += motion.forceAt(t)[2] * 1e-5;
    // Weight acts during the contact too.
    expect(impulse - g * (leavesS - contactS)).toBeCloseTo(before * (1 + usualFloor.restitution), 0);
  });
});
