import { describe, expect, it } from 'vitest';
import { quatAt, row } from '../../../src/simulate/arm/arm-motion.ts';
import { spinGainSpread, usualSpinGain } from '../../../src/simulate/arm/arm-player.ts';
import { armStepS, giveToBall } from '../../../src/simulate/arm/ball-hand.ts';
import type { PlayedArmAct } from '../../../src/simulate/arm/play-arm.ts';
import { drawWristPlan } from '../../../src/simulate/arm/wrist-plan.ts';
import {
  simulateWristPractice,
  type WristPracticeOptions,
  wristActs,
} from '../../../src/simulate/arm/wrist-practice.ts';
import { measureWristTruth } from '../../../src/simulate/arm/wrist-truth.ts';
import { newState, stateLayout, vectorAt } from '../../../src/simulate/ball-state.ts';
import { Motion } from '../../../src/simulate/motion.ts';
import { Random } from '../../../src/simulate/random.ts';
import { perfectSensor } from '../../../src/simulate/sensor-model.ts';
import {
  add,
  conjugate,
  dot,
  multiplyQuat,
  norm,
  normaliseQuat,
  type Quat,
  quatFromRotationVector,
  rotate,
  subtract,
  type Vec3,
} from '../../../src/simulate/vectors.ts';
import { jointAngles, rateBetween, secondDifference } from './joint-angles.ts';

const g = 9.80665;
const { position: P, acceleration: A, attitude: Q, rate: W } = stateLayout;

/** A few players' practices, played once. */
const practices = ['one', 'two', 'three', 'four', 'five', 'six'].map((name) => {
  const seed = `physics ${name}`;
  const plan = drawWristPlan(seed, { shots: 4, decoys: 4, showShare: 0 });
  return { seed, plan, acts: [...wristActs({ seed, plan })] };
});
const shots = practices.flatMap(({ plan, acts }) => acts.filter((act) => act.shot).map((act) => ({ plan, act })));

function firstSegment(act: PlayedArmAct) {
  const [segment] = act.sensorSegments;
  if (!segment) throw new Error('no motion of the sensor');
  return segment;
}

describe('the motion of the sensor', () => {
  it('has as acceleration the second difference of its place, and as rate the turning of its attitude', () => {
    const [state, before, after] = [newState(), newState(), newState()];
    const attitude = (s: Float64Array): Quat => [s[Q], s[Q + 1], s[Q + 2], s[Q + 3]] as unknown as Quat;
    for (const { acts } of practices) {
      for (const act of acts) {
        const segment = firstSegment(act);
        const h = 5e-4;
        for (let t = segment.startS + 0.01; t < segment.endS - 0.01; t += 0.0137) {
          segment.stateAt(t, state);
          segment.stateAt(t - h, before);
          segment.stateAt(t + h, after);
          const difference = secondDifference(vectorAt(before, P), vectorAt(state, P), vectorAt(after, P), h);
          // Differences of second order over 1 ms lose (2 pi f h)²/12 of a motion at f: 6 % at 140 Hz, the sharpest here.
          const size = norm(vectorAt(state, A));
          expect(norm(subtract(difference, vectorAt(state, A)))).toBeLessThan(0.3 + 0.06 * size);
          const turning = rateBetween(attitude(before), attitude(after), 2 * h);
          // Of a rate they lose (2 pi f h)²/6 over ±0.5 ms: 1 % at 80 Hz, the sharpest that skin and hand turn.
          expect(norm(subtract(turning, vectorAt(state, W)))).toBeLessThan(0.01 + 0.01 * norm(turning));
        }
      }
    }
  });

  it('never breaks off from act to act', () => {
    const [end, start] = [newState(), newState()];
    for (const { acts } of practices) {
      for (let i = 1; i < acts.length; i++) {
        const [last, next] = [firstSegment(acts[i - 1] as PlayedArmAct), firstSegment(acts[i] as PlayedArmAct)];
        expect(next.startS).toBe(last.endS);
        last.stateAt(last.endS, end);
        next.stateAt(next.startS, start);
        for (let k = 0; k < stateLayout.size; k++) expect(start[k]).toBeCloseTo(end[k] as number, 9);
        // Acts meet at rest: no jump of acceleration hides in the step between them.
        expect(norm(vectorAt(end, A))).toBeLessThan(3);
      }
    }
  });
});

describe('a perfect sensor', () => {
  const rateHz = 1000;
  const options: WristPracticeOptions = {
    seed: 'perfect',
    plan: drawWristPlan('perfect', { shots: 2, decoys: 1 }),
    sensor: perfectSensor(rateHz),
  };
  const { block, sensor } = simulateWristPractice(options);
  const acts = [...wristActs(options)];
  const motion = new Motion(
    acts.flatMap((act) => act.sensorSegments),
    (acts[0] as PlayedArmAct).ball.world,
  );
  const gyro = block.gyroRadps as Float64Array;
  const state = newState();
  const poseAt = (t: number) => {
    motion.stateAt(t, state);
    const attitude = [state[Q], state[Q + 1], state[Q + 2], state[Q + 3]] as unknown as Quat;
    return { place: vectorAt(state, P), toRoom: multiplyQuat(attitude, sensor.sensorToBall) };
  };

  it('reads the second derivative of its place and gravity', () => {
    const h = 5e-4;
    for (let i = 20; i < block.length - 20; i += 37) {
      const t = block.timeS[i] as number;
      const read: Vec3 = [0, 1, 2].map((k) => block.accelMps2[3 * i + k]) as unknown as Vec3;
      const { place, toRoom } = poseAt(t);
      const moved = secondDifference(poseAt(t - h).place, place, poseAt(t + h).place, h);
      const force = add(moved, [0, 0, g]);
      expect(norm(subtract(rotate(toRoom, read), force))).toBeLessThan(0.3 + 0.06 * norm(force));
    }
  });

  it('turns by the integral of its rate', () => {
    let attitude = poseAt(block.timeS[10] as number).toRoom;
    for (let i = 10; i + 1 < block.length; i++) {
      const dt = (block.timeS[i + 1] as number) - (block.timeS[i] as number);
      const mean: Vec3 = [0, 1, 2].map(
        (k) => 0.5 * dt * ((gyro[3 * i + k] as number) + (gyro[3 * i + 3 + k] as number)),
      ) as unknown as Vec3;
      attitude = normaliseQuat(multiplyQuat(attitude, quatFromRotationVector(mean)));
    }
    const end = poseAt(block.timeS[block.length - 1] as number).toRoom;
    const off = multiplyQuat(conjugate(end), attitude);
    // Trapezoids at 1 kHz with rates up to 40 rad/s that change within 20 ms.
    expect(2 * Math.asin(Math.hypot(off[1], off[2], off[3]))).toBeLessThan(0.01);
  });

  it('reads one g at rest before anything happens', () => {
    const still = [...block.accelMps2.subarray(0, 3)] as unknown as Vec3;
    expect(norm(still)).toBeCloseTo(g, 2);
  });
});

describe('skin and strap', () => {
  it('swing twice as far with the factor 2', () => {
    const plan = drawWristPlan('wobble', { shots: 1, decoys: 0 });
    const read = (wobbleFactor: number) =>
      simulateWristPractice({ seed: 'wobble', plan, sensor: perfectSensor(400), wobbleFactor }).block.accelMps2;
    const [none, once, twice] = [0, 1, 2].map(read) as [Float64Array, Float64Array, Float64Array];
    let [one, two] = [0, 0];
    none.forEach((value, i) => {
      one += ((once[i] as number) - value) ** 2;
      two += ((twice[i] as number) - value) ** 2;
    });
    expect(Math.sqrt(one / none.length)).toBeGreaterThan(0.1);
    // Not quite linear: the twist turns gravity too.
    expect(Math.sqrt(two / one)).toBeGreaterThan(1.9);
    expect(Math.sqrt(two / one)).toBeLessThan(2.1);
  });
});

describe('a shot of arm and ball', () => {
  it('falls freely between take-off and landing', () => {
    let jumps = 0;
    for (const { act } of shots) {
      const { takeOffS, landingS, score } = act.shot as NonNullable<PlayedArmAct['shot']>;
      if (takeOffS === null || landingS === null) continue;
      jumps++;
      const h = 0.002;
      for (let t = takeOffS + h; t < landingS - h; t += 0.005) {
        const [a, b, c] = [t - h, t, t + h].map((u) => score.trunk(u)[2]) as [number, number, number];
        expect((a - 2 * b + c) / (h * h)).toBeCloseTo(-g, 3);
      }
      expect(score.trunk(landingS)[2]).toBeCloseTo(score.trunk(takeOffS)[2], 6);
      // The landing stops the fall within a third of a second.
      const after = (score.trunk(landingS + 0.35)[2] - score.trunk(landingS + 0.34)[2]) / 0.01;
      expect(after).toBeGreaterThan(-0.2);
    }
    expect(jumps).toBeGreaterThan(8);
  });

  it('has the hand at the ball as long as it holds it', () => {
    const state = newState();
    for (const { act, plan } of shots) {
      const { contacts } = (act.shot as NonNullable<PlayedArmAct['shot']>).score;
      const { radiusM } = act.ball.world.ball;
      const ball = new Motion(act.ball.segments, act.ball.world);
      for (const { fromS, toS } of contacts) {
        for (let t = fromS; t <= toS; t += 0.01) {
          const i = Math.round((t - act.trace.startS) / armStepS);
          if (i < 0 || i >= act.trace.count) continue;
          ball.stateAt(t, state);
          const toBall = subtract(vectorAt(state, P), row(act.trace.wristM, i));
          // From palm and fingers to the centre: the ball's radius, up to the hand's length across it; a catch gives some more.
          expect(norm(toBall)).toBeGreaterThan(0.5 * radiusM);
          expect(norm(toBall)).toBeLessThan(Math.hypot(radiusM + 0.02, plan.player.arm.handM) + 0.12);
        }
      }
    }
  });

  it('turns the ball against the hand, by the gain of the player', () => {
    const gains = new Map<PlayedArmAct['plan'] | object, number[]>();
    for (const { act, plan } of shots) {
      const releaseS = act.ball.shot?.releaseS as number;
      const i = Math.round((releaseS - act.trace.startS) / armStepS);
      const hand = rateBetween(quatAt(act.trace.hand, i - 1), quatAt(act.trace.hand, i + 1), 2 * armStepS);
      const state = newState();
      new Motion(act.ball.segments, act.ball.world).stateAt(releaseS, state);
      const spin = vectorAt(state, W);
      const gain = norm(spin) / norm(hand);
      // A shot's own noise is at most 5.5 %, cut at 2.5 standard deviations, the reading at whole steps adds little, and what
      // slips turns the ball less: no shot is planned beyond 0.95 of friction's limit, where (1 − 0.95⁴)^¼ is left.
      expect(gain / plan.player.grip.rollGain).toBeLessThan(1.15);
      expect(gain / plan.player.grip.rollGain).toBeGreaterThan(0.85 * 0.65);
      const opposed = -dot(spin, hand) / norm(spin) / norm(hand);
      expect(Math.acos(Math.min(1, opposed))).toBeLessThan(0.2);
      gains.set(plan, [...(gains.get(plan) ?? []), gain]);
    }
    const means = [...gains.values()].map((list) => list.reduce((a, b) => a + b) / list.length);
    expect(Math.max(...means) / Math.min(...means)).toBeGreaterThan(1.15);
    for (const { plan } of practices) {
      expect(Math.abs(plan.player.grip.rollGain / usualSpinGain - 1)).toBeLessThanOrEqual(spinGainSpread);
    }
  });

  it('holds the ball where body and arm of that player can: the planned release height is that of standing, jump and reach', () => {
    for (const { act, plan } of shots) {
      const score = (act.shot as NonNullable<PlayedArmAct['shot']>).score;
      const standing = score.trunk(act.endS - 0.01)[2];
      expect(standing).toBeCloseTo(plan.player.shoulderM, 6);
      const { takeOffS } = act.shot as NonNullable<PlayedArmAct['shot']>;
      if (takeOffS === null || act.plan.kind !== 'shot') continue;
      // At take-off the body stands on its toes: what the launch asks of it differs by the tilt of the spin axis only.
      expect(Math.abs(score.trunk(takeOffS)[2] - plan.player.shoulderM - act.plan.arm.toeM)).toBeLessThan(0.03);
    }
  });
});

describe('the ball in the hand', () => {
  it('pushes back by its mass over that of the arm: Newton’s third law', () => {
    const { plan, acts } = practices[0] as (typeof practices)[number];
    const act = acts.find((one) => one.shot) as PlayedArmAct;
    const ball = new Motion(act.ball.segments, act.ball.world);
    const context = {
      player: plan.player,
      random: new Random(1),
      startS: 0,
      endS: 1,
      from: { relativeM: [0, 0, 0], angles: { pronationRad: 0, flexionRad: 0, deviationRad: 0 }, swivelRad: 0 },
      ball,
      world: act.ball.world,
    } as const;
    const give = giveToBall(context, [], (t) => (t >= 0.5 ? [0, 0, 10] : [0, 0, 0]));
    const z = (i: number) => give.wristM[3 * i + 2] as number;
    const bend = (i: number) => (z(i - 1) - 2 * z(i) + z(i + 1)) / armStepS ** 2;
    const expected = -(10 * act.ball.world.ball.massKg) / plan.player.effectiveMassKg;
    // The drive is held over a step, so that the jump is spread over two differences; the arm's stiffness and the slow part
    // that muscles expect change by some per cent of it meanwhile.
    expect((bend(501) - bend(499)) / expected).toBeGreaterThan(0.93);
    expect((bend(501) - bend(499)) / expected).toBeLessThan(1.02);
  });
});

describe('joints', () => {
  it('stay within what people can do, and turn no faster than was measured on players and throwers', () => {
    let [fastestWrist, fastestElbow, fastestOther] = [0, 0, 0];
    for (const { acts, plan } of practices) {
      for (const act of acts) {
        let last: ReturnType<typeof jointAngles> | null = null;
        for (let i = 0; i < act.trace.count; i += 5) {
          const now = jointAngles(act.trace, i);
          // Ranges of motion: elbow flexion 0–150°, wrist flexion 80°, extension 70°, radial 20°, ulnar 30°, each with the
          // spread of healthy people (AAOS 1965; Boone and Azen 1979, J. Bone and Joint Surgery 61:756; from memory), widened
          // by 10 to 15° for hands that a ball bends.
          expect(now.elbowDeg).toBeGreaterThan(28);
          expect(now.flexionDeg).toBeGreaterThan(-86);
          expect(now.flexionDeg).toBeLessThan(89);
          const radial = plan.player.side * now.deviationDeg;
          expect(radial).toBeGreaterThan(-50);
          expect(radial).toBeLessThan(35);
          if (last) {
            fastestWrist = Math.max(fastestWrist, Math.abs(now.flexionDeg - last.flexionDeg) / 0.005);
            const elbow = Math.abs(now.elbowDeg - last.elbowDeg) / 0.005;
            if (act.shot) fastestElbow = Math.max(fastestElbow, elbow);
            else fastestOther = Math.max(fastestOther, elbow);
          }
          last = now;
        }
      }
    }
    // Throwers reach some 2500 °/s at the elbow and 2700 °/s at the wrist (Fleisig et al. 1996, J. Applied Biomechanics
    // 12:207; from memory); jump shooters less than half of it.
    expect(fastestWrist).toBeLessThan(2700);
    expect(fastestElbow).toBeLessThan(2500);
    // The simulated passes push the ball further than an arm is long: the body has to follow, and the elbow opens faster.
    expect(fastestOther).toBeLessThan(3300);
    expect(fastestWrist).toBeGreaterThan(500);
  });
});

describe('the truth of a shot', () => {
  it('is what the bones do: elevation, follow-through, snap, order of times', () => {
    for (const { act } of shots) {
      const truth = measureWristTruth(act);
      const i = Math.round((truth.releaseS - act.trace.startS) / armStepS);
      const forearm = rotate(quatAt(act.trace.forearm, i), [1, 0, 0]);
      expect(truth.measures.forearmElevationDeg.value).toBeCloseTo((Math.asin(forearm[2]) * 180) / Math.PI, 0);
      if (act.plan.kind !== 'shot') continue;
      const held = truth.measures.followThroughS.value as number;
      expect(Math.abs(held - act.plan.arm.followThroughS)).toBeLessThan(0.25);
      const snap = truth.measures.snapToReleaseS.value as number;
      expect(snap).toBeGreaterThan(-0.15);
      expect(snap).toBeLessThan(0.1);
      if (truth.pickupS !== null && truth.liftS !== null) {
        expect(truth.pickupS).toBeLessThanOrEqual(truth.liftS);
        expect(truth.liftS).toBeLessThan(truth.releaseS);
        const dip = truth.measures.dipDepthM.value;
        if (dip !== null) {
          const z = (t: number) => row(act.trace.wristM, Math.round((t - act.trace.startS) / armStepS))[2];
          expect(dip).toBeCloseTo(z(truth.pickupS) - z(truth.liftS), 2);
        }
      }
    }
  });
});
