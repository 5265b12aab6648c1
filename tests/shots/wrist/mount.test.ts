import { describe, expect, it } from 'vitest';
import { resolveParams } from '../../../src/foundation/parameters.ts';
import { ArmLearner } from '../../../src/shots/wrist/arm-learner.ts';
import { estimateMount, type MountEstimate, type ToldMount } from '../../../src/shots/wrist/mount.ts';
import { initialMountEvidence, learnMountShot } from '../../../src/shots/wrist/mount-evidence.ts';
import {
  endQuiet,
  endTurns,
  initialMountObserver,
  type MountObserverState,
  stepMountObserver,
} from '../../../src/shots/wrist/mount-observer.ts';
import { mountParams } from '../../../src/shots/wrist/mount-params.ts';
import { readMountShot } from '../../../src/shots/wrist/mount-shot.ts';
import { attitudeAt, estimateAttitude } from '../../../src/signal/attitude-track.ts';
import { conjugate, rotate } from '../../../src/signal/rotation.ts';
import { dot, type Vec3 } from '../../../src/signal/vec3.ts';
import { madeNoise, matrixProduct, senseMotion, turnMatrix } from '../../signal/made-motion.ts';
import { holdAtS, type MadeArm, madeArm, releaseAtS, roundS } from './made-arm.ts';

const params = resolveParams(mountParams);
const degree = Math.PI / 180;
const anyhow = matrixProduct(turnMatrix([0.6, 0, 0.8], 2.1), turnMatrix([0, 1, 0], -0.9));

const forearm: MadeArm = {
  side: 'right',
  hangRad: -72 * degree,
  setRad: 100 * degree,
  endRad: 50 * degree,
  mount: anyhow,
};
const hand: MadeArm = { ...forearm, setRad: 150 * degree, endRad: 5 * degree };

function play(arm: MadeArm, rounds: number, state = initialMountObserver(), rateHz = 100): MountObserverState {
  const block = senseMotion(madeArm(arm), rateHz, rounds * roundS, {
    noise: madeNoise(rounds),
    gyroNoiseRadps: 0.002,
    accelNoiseMps2: 0.05,
    gyroBiasRadps: [0.01, -0.02, 0.01],
  });
  const track = estimateAttitude(block);
  const biasAt = (i: number) => Array.from(track.gyroBiasRadps.subarray(3 * i, 3 * i + 3));
  let round = 0;
  for (let i = 0; i < block.length; i++) {
    stepMountObserver(params, state, block, i, biasAt(i));
    if (block.timeS[i]! < round * roundS + releaseAtS + 1) continue;
    const first = i - 2 * rateHz;
    const shot = readMountShot(
      {
        length: 2 * rateHz,
        timeS: (k) => block.timeS[first + k]!,
        rateRadps: (k) => {
          const at = 3 * (first + k);
          const bias = biasAt(first + k);
          return [0, 1, 2].map((j) => block.gyroRadps![at + j]! - bias[j]!) as unknown as Vec3;
        },
        up: (k) => rotate(conjugate(attitudeAt(track, first + k)), [0, 0, 1]),
      },
      round * roundS + releaseAtS,
      round * roundS + holdAtS,
    );
    if (shot) learnMountShot(state.evidence, shot);
    round++;
  }
  endQuiet(params, state);
  endTurns(params, state);
  return state;
}

/** Axes of the segment in the sensor: x toward the fingers, z out of the back. */
const axisOf = (k: 0 | 1 | 2): Vec3 => anyhow[k] as unknown as Vec3;

function mountOf(arm: MadeArm, rounds: number, told?: ToldMount): MountEstimate {
  return estimateMount(params, play(arm, rounds).evidence, told);
}

describe('the mount of a sensor', () => {
  it.each([
    ['above the wrist of a right arm', forearm, 'forearm', 'right'],
    ['above the wrist of a left arm', { ...forearm, side: 'left' }, 'forearm', 'left'],
    ['on the back of a right hand', hand, 'back-of-hand', 'right'],
    ['on the back of a left hand', { ...hand, side: 'left' }, 'back-of-hand', 'left'],
  ] as const)('is found %s', (_, arm, place, side) => {
    const mount = mountOf(arm, 4);
    expect(mount.place).toBe(place);
    expect(mount.side).toBe(side);
    // The hang of 18° is within the spread of the 15° that are usual: the axis must be right within its stated error.
    const long = mount.longAxis!;
    expect(Math.acos(dot(long.inSensor, axisOf(0)))).toBeLessThan(2 * Math.hypot(long.pitchSdRad, long.sideSdRad));
    expect(long.pitchSdRad).toBeLessThan(12 * degree);
    // The segment's y axis points to the player's left while the palm looks forward, of either arm.
    expect(Math.acos(dot(mount.flexionAxis!.inSensor, axisOf(1)))).toBeLessThan(5 * degree);
  });

  it('knows the long axis much better once the forearm was turned about itself', () => {
    const before = mountOf(forearm, 3).longAxis!;
    const after = mountOf({ ...forearm, hangRad: -55 * degree, twists: true }, 3).longAxis!;
    expect(after.pitchSdRad).toBeLessThan(before.pitchSdRad / 2);
    // The arm hangs 20° off what is usual, and the turns put that right.
    expect(Math.acos(dot(after.inSensor, axisOf(0)))).toBeLessThan(5 * degree);
  });

  it('is unknown before anything was seen, and nothing is guessed', () => {
    expect(estimateMount(params, initialMountEvidence())).toEqual({
      longAxis: null,
      flexionAxis: null,
      place: 'unknown',
      handShare: 0.5,
      side: 'unknown',
      rightShare: 0.5,
    });
  });

  it('does not tell a place between a forearm and a hand', () => {
    const between = { ...forearm, setRad: 120 * degree, endRad: 40 * degree };
    expect(mountOf(between, 3).place).toBe('unknown');
  });

  it('knows no long axis without a posture in which the arm could hang', () => {
    // The ball held before the chest, forearm level, as the only quiet posture.
    const mount = mountOf({ ...forearm, hangRad: 0 }, 4);
    expect(mount.longAxis === null || Math.acos(dot(mount.longAxis.inSensor, axisOf(0))) < 0.5).toBe(true);
    expect(mount.longAxis).toBeNull();
  });

  it('takes what a person told', () => {
    const mount = mountOf(forearm, 2, { place: 'back-of-hand', side: 'left' });
    expect([mount.place, mount.side, mount.handShare, mount.rightShare]).toEqual(['back-of-hand', 'left', 1, 0]);
  });

  it('gets surer with more rounds', () => {
    const few = mountOf(hand, 1);
    const many = mountOf(hand, 6);
    expect(many.rightShare).toBeGreaterThan(few.rightShare);
    expect(many.flexionAxis!.sdRad).toBeLessThan(few.flexionAxis!.sdRad);
  });

  it.each([
    [0.25, 0],
    [0.03, 11],
  ])('takes turns with a lever of %d m for swings of the forearm about itself: %i', (leverM, count) => {
    const state = initialMountObserver();
    const turn = 2 * Math.PI;
    const block = senseMotion(
      {
        sensorToWorld: (t) => turnMatrix([0, 1, 0], 0.8 * Math.sin(turn * t)),
        accelMps2: (t) => {
          // Second derivative of the lever's end, lever along the sensor's x axis.
          const [a, w, q] = [
            0.8 * Math.sin(turn * t),
            0.8 * turn * Math.cos(turn * t),
            -0.8 * turn ** 2 * Math.sin(turn * t),
          ];
          const x = -leverM * (q * Math.sin(a) + w ** 2 * Math.cos(a));
          const z = -leverM * (q * Math.cos(a) - w ** 2 * Math.sin(a));
          return [x, 0, z];
        },
      },
      100,
      5,
    );
    for (let i = 0; i < block.length; i++) stepMountObserver(params, state, block, i, [0, 0, 0]);
    endTurns(params, state);
    expect(state.evidence.twists.reduce((sum, twist) => sum + twist.count, 0)).toBe(count);
  });

  it.each([
    ['rests of a second at either end', 1, 7],
    ['rests so long that each turn stands alone', 3, 0],
  ])('counts swings to and fro with %s', (_, restS, count) => {
    const state = initialMountObserver();
    const period = 0.6 + restS;
    // Palm forward, rest, palm back, rest: seven turns of 2 rad.
    const angle = (t: number) => {
      const k = Math.min(7, Math.floor(t / period));
      const u = k === 7 ? 0 : Math.min(1, (t - k * period) / 0.6);
      const eased = u * u * u * (10 - 15 * u + 6 * u * u);
      return 2 * (k % 2 === 0 ? eased : 1 - eased);
    };
    const still = { sensorToWorld: (t: number) => turnMatrix([1, 0, 0], angle(t)), accelMps2: (): Vec3 => [0, 0, 0] };
    const block = senseMotion(still, 100, 7 * period, { noise: madeNoise(3), gyroNoiseRadps: 0.002 });
    for (let i = 0; i < block.length; i++) stepMountObserver(params, state, block, i, [0, 0, 0]);
    endTurns(params, state);
    expect(state.evidence.twists.reduce((sum, twist) => sum + twist.count, 0)).toBe(count);
  });

  it('is learnt as a practice goes on, and says how steep the arm is', () => {
    const learner = new ArmLearner({ mount: null }, play({ ...forearm, twists: true }, 4));
    expect(learner.settings()).toEqual({ mount: 'forearm' });
    const up: Vec3 = [0, 1, 2].map((k) => 0.8 * axisOf(0)[k]! + 0.6 * axisOf(2)[k]!) as unknown as Vec3;
    // One shift tilts the arm by 0.05 rad, one only turns it about itself.
    const at = (x: number, y: number, z: number): Vec3 =>
      [0, 1, 2].map((k) => x * axisOf(0)[k]! + y * axisOf(1)[k]! + z * axisOf(2)[k]!) as unknown as Vec3;
    const steep = Math.asin(0.8) + 0.05;
    const shifted = [at(Math.sin(steep), 0, Math.cos(steep)), at(0.8, 0.6 * Math.sin(0.3), 0.6 * Math.cos(0.3))];
    const elevation = learner.elevationDeg(up, shifted);
    if (elevation.value === null) throw new Error('expected an elevation');
    // asin 0.8
    expect(Math.abs(elevation.value - 53.13)).toBeLessThan(2 * elevation.standardError);
    const alone = learner.elevationDeg(up, []);
    expect(elevation.standardError).toBeCloseTo(
      Math.hypot(alone.value === null ? 0 : alone.standardError, 0.05 / degree),
      0,
    );
    expect(elevation.standardError).toBeLessThan(6);
    const resumed = new ArmLearner({ mount: null }, JSON.parse(JSON.stringify(learner.memory())));
    expect(resumed.elevationDeg(up, shifted)).toEqual(elevation);
  });

  it('is not told before it was learnt, nor against what a person said', () => {
    const nothing = new ArmLearner({ mount: null });
    expect(nothing.settings()).toEqual({ mount: null });
    expect(nothing.elevationDeg([0, 0, 1], [])).toEqual({ value: null, reason: 'mount-unknown' });
    // Hanging alone leaves so much open that the number would say little about this player.
    const hung = new ArmLearner({ mount: 'forearm' }, play(forearm, 4));
    expect(hung.elevationDeg(axisOf(0), [])).toEqual({ value: null, reason: 'forearm-not-turned' });
    expect(new ArmLearner({ mount: 'back-of-hand' }, play(forearm, 4)).settings().mount).toBe('back-of-hand');
  });

  it('goes on from its state as JSON', () => {
    const whole = play(forearm, 2);
    const copy = JSON.parse(JSON.stringify(play(forearm, 2))) as MountObserverState;
    expect(estimateMount(params, copy.evidence)).toEqual(estimateMount(params, whole.evidence));
    expect(play(forearm, 2, copy)).toEqual(play(forearm, 2, whole));
  });
});
