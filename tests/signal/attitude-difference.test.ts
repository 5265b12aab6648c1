import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { attitudeDifference } from '../../src/signal/attitude-difference.ts';
import { fromRotationVector, identityQuaternion, multiply } from '../../src/signal/rotation.ts';

const degree = Math.PI / 180;
const angle = fc.double({ min: -3.1, max: 3.1, noNaN: true });

describe('the difference of two attitudes', () => {
  it('splits 10° of heading before 5° of tilt into 11.1775°, 10° and 5°', () => {
    // Closed form: cos(total / 2) = cos 5° · cos 2.5°.
    const error = multiply(fromRotationVector([0, 0, 10 * degree]), fromRotationVector([5 * degree, 0, 0]));
    const { totalRad, headingRad, inclinationRad } = attitudeDifference(error, identityQuaternion);
    expect(totalRad / degree).toBeCloseTo(11.1775, 4);
    expect(totalRad).toBeCloseTo(2 * Math.acos(Math.cos(5 * degree) * Math.cos(2.5 * degree)), 12);
    expect(headingRad / degree).toBeCloseTo(10, 12);
    expect(inclinationRad / degree).toBeCloseTo(5, 12);
  });

  it('takes no inclination from a turn about the vertical, whatever the attitude', () => {
    fc.assert(
      fc.property(angle, angle, angle, angle, (a, b, c, turn) => {
        const reference = fromRotationVector([a, b, c]);
        const { totalRad, headingRad, inclinationRad } = attitudeDifference(
          multiply(fromRotationVector([0, 0, turn]), reference),
          reference,
        );
        expect(inclinationRad).toBeLessThan(1e-7);
        expect(headingRad).toBeCloseTo(Math.abs(turn), 7);
        expect(totalRad).toBeCloseTo(Math.abs(turn), 7);
      }),
    );
  });

  it('is never larger in a part than in all', () => {
    fc.assert(
      fc.property(angle, angle, angle, (a, b, c) => {
        const { totalRad, headingRad, inclinationRad } = attitudeDifference(
          fromRotationVector([a, b, c]),
          identityQuaternion,
        );
        expect(Math.max(headingRad, inclinationRad)).toBeLessThanOrEqual(totalRad + 1e-12);
      }),
    );
  });
});
