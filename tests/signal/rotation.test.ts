import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import {
  conjugate,
  fromRotationVector,
  identityQuaternion,
  multiply,
  type Quaternion,
  rotate,
  stepRotation,
} from '../../src/signal/rotation.ts';
import { add, cross, dot, norm, scale, type Vec3 } from '../../src/signal/vec3.ts';

const number = (size: number) => fc.double({ min: -size, max: size, noNaN: true });
const vector = (size: number): fc.Arbitrary<Vec3> => fc.tuple(number(size), number(size), number(size));
const rotation = vector(3).map(fromRotationVector);

/** Each product and sum rounds by 1.1e-16; some thirty of them stand in a rotation. */
const rounding = 1e-14;

function expectNear(found: readonly number[], expected: readonly number[], tolerance: number): void {
  expect(found).toHaveLength(expected.length);
  for (const [i, value] of expected.entries()) expect(Math.abs((found[i] as number) - value)).toBeLessThan(tolerance);
}

/** Angle of the turn from one attitude to another, rad; from the vector part, which small angles do not wash out. */
function angleBetween(a: Quaternion, b: Quaternion): number {
  const [, x, y, z] = multiply(conjugate(a), b);
  return 2 * Math.asin(Math.min(1, norm([x, y, z])));
}

describe('a unit quaternion', () => {
  it('keeps lengths and angles, and handedness', () => {
    fc.assert(
      fc.property(rotation, vector(50), vector(50), (q, a, b) => {
        const [ra, rb] = [rotate(q, a), rotate(q, b)];
        const size = 1 + norm(a) * norm(b);
        expect(Math.abs(norm(ra) - norm(a))).toBeLessThan(rounding * (1 + norm(a)));
        expect(Math.abs(dot(ra, rb) - dot(a, b))).toBeLessThan(rounding * size);
        expectNear(rotate(q, cross(a, b)), cross(ra, rb), 4 * rounding * size);
      }),
    );
  });

  it('is undone by its conjugate', () => {
    fc.assert(
      fc.property(rotation, vector(50), (q, v) => {
        expectNear(rotate(conjugate(q), rotate(q, v)), v, rounding * (1 + norm(v)));
        expectNear(multiply(q, conjugate(q)), identityQuaternion, rounding);
      }),
    );
  });

  it('turns by the product as by the right factor first, then the left', () => {
    fc.assert(
      fc.property(rotation, rotation, rotation, vector(50), (a, b, c, v) => {
        expectNear(rotate(multiply(a, b), v), rotate(a, rotate(b, v)), 2 * rounding * (1 + norm(v)));
        expectNear(multiply(multiply(a, b), c), multiply(a, multiply(b, c)), rounding);
        expectNear(conjugate(multiply(a, b)), multiply(conjugate(b), conjugate(a)), rounding);
      }),
    );
  });

  it("has Hamilton's product: ij = k, jk = i, ki = j, i² = −1", () => {
    const [i, j, k]: Quaternion[] = [
      [0, 1, 0, 0],
      [0, 0, 1, 0],
      [0, 0, 0, 1],
    ];
    expectNear(multiply(i as Quaternion, j as Quaternion), k as Quaternion, 1e-300);
    expectNear(multiply(j as Quaternion, k as Quaternion), i as Quaternion, 1e-300);
    expectNear(multiply(k as Quaternion, i as Quaternion), j as Quaternion, 1e-300);
    expectNear(multiply(i as Quaternion, i as Quaternion), [-1, 0, 0, 0], 1e-300);
  });
});

describe('a rotation vector', () => {
  const third = (2 * Math.PI) / 3 / Math.sqrt(3);
  it.each<[string, Vec3, Vec3, Vec3]>([
    ['a quarter turn about z carries x to y', [0, 0, Math.PI / 2], [1, 0, 0], [0, 1, 0]],
    ['a quarter turn about x carries y to z', [Math.PI / 2, 0, 0], [0, 1, 0], [0, 0, 1]],
    ['a quarter turn about y carries z to x', [0, Math.PI / 2, 0], [0, 0, 1], [1, 0, 0]],
    ['a half turn about y turns x round', [0, Math.PI, 0], [1, 0, 0], [-1, 0, 0]],
    ['a third of a turn about the diagonal changes the axes round', [third, third, third], [1, 2, 3], [3, 1, 2]],
    ['a whole turn leaves everything', [0, 0, 2 * Math.PI], [1, 2, 3], [1, 2, 3]],
  ])('%s', (_, turn, v, expected) => {
    expectNear(rotate(fromRotationVector(turn), v), expected, rounding);
  });

  it("turns as Rodrigues' formula says", () => {
    fc.assert(
      fc.property(vector(3), vector(10), (turn, v) => {
        const angle = norm(turn);
        fc.pre(angle > 1e-6);
        const axis = scale(turn, 1 / angle);
        const along = scale(axis, dot(axis, v) * (1 - Math.cos(angle)));
        const expected = add(add(scale(v, Math.cos(angle)), scale(cross(axis, v), Math.sin(angle))), along);
        expectNear(rotate(fromRotationVector(turn), v), expected, 3 * rounding * (1 + norm(v)));
      }),
    );
  });

  it('keeps length 1 where its series takes over from sine and cosine', () => {
    // The first terms left out are angle⁴ / 384 and angle⁴ / 3840 of unity: 3e-19 at 1e-4 rad.
    for (const angle of [0, 1e-12, 1e-6, 0.99e-4, 1.01e-4, 1e-3]) {
      const q = fromRotationVector([0, angle, 0]);
      expectNear(q, [Math.cos(angle / 2), 0, Math.sin(angle / 2), 0], 3e-16);
      expect(Math.abs(Math.hypot(...q) - 1)).toBeLessThan(3e-16);
    }
  });
});

describe('a step of rotation', () => {
  it('adds up to the closed form at a constant rate, in any number of steps', () => {
    fc.assert(
      fc.property(vector(20), fc.integer({ min: 1, max: 60 }), (rate, steps) => {
        const totalS = 0.5;
        let q = identityQuaternion;
        for (let k = 0; k < steps; k++) q = multiply(q, stepRotation(rate, rate, totalS / steps));
        expect(angleBetween(q, fromRotationVector(scale(rate, totalS)))).toBeLessThan(steps * rounding + 1e-13);
      }),
    );
  });

  it('is undone by the step back', () => {
    fc.assert(
      fc.property(vector(20), vector(20), (from, to) => {
        const there = stepRotation(from, to, 0.01);
        expectNear(multiply(there, stepRotation(to, from, -0.01)), identityQuaternion, rounding);
      }),
    );
  });

  it('follows a rate that changes linearly with an error of the fifth order of the step', () => {
    const rate: Vec3 = [3, -12, 5];
    const changeRadps2: Vec3 = [90, 40, -120];
    const at = (timeS: number): Vec3 => add(rate, scale(changeRadps2, timeS));
    const errorOf = (stepS: number) => angleBetween(stepRotation(rate, at(stepS), stepS), fineTurn(at, stepS));
    const plainErrorOf = (stepS: number) =>
      angleBetween(fromRotationVector(scale(add(rate, at(stepS)), stepS / 2)), fineTurn(at, stepS));
    // Magnus' series of a linear rate has no term of the fourth order (Blanes et al. 2009, Phys. Rep. 470:151): halving
    // the step divides what is left by 2⁵, up to the sixth order, which is a few parts in ten at these steps.
    const ratio = errorOf(0.04) / errorOf(0.02);
    expect(ratio).toBeGreaterThan(2 ** 4.5);
    expect(ratio).toBeLessThan(2 ** 5.5);
    // Without the coning term the third order stays.
    const plainRatio = plainErrorOf(0.04) / plainErrorOf(0.02);
    expect(plainRatio).toBeGreaterThan(2 ** 2.5);
    expect(plainRatio).toBeLessThan(2 ** 3.5);
    expect(errorOf(0.005)).toBeLessThan(plainErrorOf(0.005) / 100);
  });
});

/** The turn over `[0, lengthS]` by midpoint steps so short that their error (third order each) is below 1e-10 rad. */
function fineTurn(rateAt: (timeS: number) => Vec3, lengthS: number): Quaternion {
  const steps = 20_000;
  const h = lengthS / steps;
  let q = identityQuaternion;
  for (let k = 0; k < steps; k++) q = multiply(q, fromRotationVector(scale(rateAt((k + 0.5) * h), h)));
  return q;
}

describe('the turn that the fine integration stands on', () => {
  it('agrees with a closed form: a rate that turns evenly about a fixed axis', () => {
    // A body that turns by p about z in its own axes while the frame turns by q: q(t) = exp(A t) exp(B t) has the rate
    // B + exp(−B t) A exp(B t), a cone.
    const [a, b]: [Vec3, Vec3] = [
      [0, -9, 0],
      [0, 0, 4],
    ];
    const rateAt = (t: number): Vec3 => add(b, rotate(conjugate(fromRotationVector(scale(b, t))), a));
    const exact = multiply(fromRotationVector(scale(a, 0.2)), fromRotationVector(scale(b, 0.2)));
    expect(angleBetween(fineTurn(rateAt, 0.2), exact)).toBeLessThan(1e-9);
    // The steps of a sensor at 200 Hz take the rate for straight between samples: h² |rate''| / 12 · 0.2 s = 6e-5 rad,
    // |rate''| being 4² · 9 rad/s³, and a tenth of it for what is of higher order.
    const h = 0.005;
    let q = identityQuaternion;
    for (let k = 0; k < 40; k++) q = multiply(q, stepRotation(rateAt(k * h), rateAt((k + 1) * h), h));
    expect(angleBetween(q, exact)).toBeLessThan(1.1 * ((h * h * 16 * 9) / 12) * 0.2);
  });
});
