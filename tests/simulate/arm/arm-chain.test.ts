import { describe, expect, it } from 'vitest';
import {
  type ArmLengths,
  elbowAngleRad,
  forearmAttitude,
  forearmUnderHand,
  leanToReach,
  placeElbow,
  quatFromAxes,
  reachM,
  type Side,
} from '../../../src/simulate/arm/arm-chain.ts';
import { Random } from '../../../src/simulate/random.ts';
import {
  cross,
  dot,
  multiplyQuat,
  norm,
  quatFromRotationVector,
  rotate,
  scale,
  subtract,
  type Vec3,
} from '../../../src/simulate/vectors.ts';

const arm: ArmLengths = { upperArmM: 0.33, forearmM: 0.27, handM: 0.19 };
const near = (a: readonly number[], b: readonly number[], digits = 9) =>
  a.forEach((value, i) => {
    expect(value).toBeCloseTo(b[i] as number, digits);
  });

describe('the chain of an arm', () => {
  it('keeps the lengths of its bones wherever the wrist is', () => {
    const random = new Random('lengths');
    for (let k = 0; k < 200; k++) {
      const side: Side = random.chance(0.5) ? 1 : -1;
      const wrist = scale(random.direction(), random.between(0.3, 0.59));
      const { elbowM, outward } = placeElbow(
        arm,
        side,
        [0, 0, 0],
        wrist,
        random.between(-0.3, 0.6),
        random.between(-3, 3),
      );
      expect(norm(elbowM)).toBeCloseTo(arm.upperArmM, 9);
      expect(norm(subtract(wrist, elbowM))).toBeCloseTo(arm.forearmM, 9);
      expect(norm(outward)).toBeCloseTo(1, 9);
      expect(dot(outward, wrist)).toBeCloseTo(0, 9);
    }
  });

  it('has reach and elbow angle undo each other: straight is the sum of the bones', () => {
    expect(reachM(arm, Math.PI)).toBeCloseTo(0.6, 12);
    for (const angle of [0.8, 1.6, 2.4, 3]) expect(elbowAngleRad(arm, reachM(arm, angle))).toBeCloseTo(angle, 9);
  });

  it('holds the elbow below a hand in front, in front of a raised one, behind a lowered one', () => {
    const at = (wrist: Vec3) => placeElbow(arm, 1, [0, 0, 0], wrist, 0, 0).elbowM;
    const middle = (wrist: Vec3) => scale(wrist, 0.5);
    expect(at([0.5, 0, 0])[2]).toBeLessThan(-0.05);
    expect(at([0.1, 0, 0.5])[0]).toBeGreaterThan(middle([0.1, 0, 0.5])[0] + 0.05);
    expect(at([0.1, 0, -0.5])[0]).toBeLessThan(middle([0.1, 0, -0.5])[0] - 0.05);
  });

  it.each([
    ['right', 1, -1],
    ['left', -1, 1],
  ] as const)('swivels the elbow outward: %s', (_, side, sign) => {
    const { elbowM } = placeElbow(arm, side, [0, 0, 0], [0.5, 0, 0], 0.7, 0);
    expect(sign * elbowM[1]).toBeGreaterThan(0.05);
  });

  it.each([
    ['right', 1, -1],
    ['left', -1, 1],
  ] as const)('has the back of an unturned hand outside and of a pronated one up: %s', (_, side, outside) => {
    const outward: Vec3 = [0, outside, 0];
    near(rotate(forearmAttitude([1, 0, 0], outward, side, 0), [0, 0, 1]), outward);
    near(rotate(forearmAttitude([1, 0, 0], outward, side, Math.PI / 2), [0, 0, 1]), [0, 0, 1]);
  });

  it('bends fingers toward the palm for positive flexion', () => {
    // Palm down: dorsal up. Fingers that pointed forward point down after 90 degrees.
    const palmDown = quatFromAxes([1, 0, 0], [0, 1, 0], [0, 0, 1]);
    const bent = multiplyQuat(palmDown, quatFromRotationVector([0, Math.PI / 2, 0]));
    near(rotate(bent, [1, 0, 0]), [0, 0, -1]);
  });

  it('finds the forearm again from the hand it carries', () => {
    const random = new Random('under');
    for (let k = 0; k < 100; k++) {
      const forearm = random.rotation();
      const hand = multiplyQuat(
        forearm,
        multiplyQuat(
          quatFromRotationVector([0, 0, random.between(-0.6, 0.6)]),
          quatFromRotationVector([0, random.between(-1.4, 1.4), 0]),
        ),
      );
      const found = forearmUnderHand(rotate(forearm, [1, 0, 0]), rotate(hand, [0, 1, 0]));
      expect(
        Math.abs(found[0] * forearm[0] + found[1] * forearm[1] + found[2] * forearm[2] + found[3] * forearm[3]),
      ).toBeCloseTo(1, 9);
    }
  });

  it('turns axes into the rotation that makes them', () => {
    const random = new Random('axes');
    for (let k = 0; k < 100; k++) {
      const q = random.rotation();
      const [x, y] = [rotate(q, [1, 0, 0]), rotate(q, [0, 1, 0])];
      const back = quatFromAxes(x, y, cross(x, y));
      near(rotate(back, [1, 0, 0]), x);
      near(rotate(back, [0, 0, 1]), cross(x, y));
    }
  });

  it('leans the body so that no arm is longer than its bones', () => {
    const random = new Random('lean');
    for (let k = 0; k < 200; k++) {
      const wrist = scale(random.direction(), random.between(0, 1.5));
      const shoulder = leanToReach(arm, [0, 0, 0], wrist, [1, 0, 0]);
      expect(norm(subtract(wrist, shoulder))).toBeLessThan(0.6 * 0.9981);
    }
    // A hand well in front and within reach asks for nothing.
    near(leanToReach(arm, [0, 0, 0], [0.45, 0, -0.2], [1, 0, 0]), [0, 0, 0], 2);
  });
});
