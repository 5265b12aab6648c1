import { describe, expect, it } from 'vitest';
import type { ImuBlock } from '../../../src/foundation/imu-block.ts';
import { resolveParams } from '../../../src/foundation/parameters.ts';
import { findJump } from '../../../src/shots/wrist/landing.ts';
import type { Motion } from '../../../src/shots/wrist/path-motion.ts';
import type { Strapdown } from '../../../src/shots/wrist/strapdown.ts';
import { wristParams } from '../../../src/shots/wrist/wrist-params.ts';

const stepS = 0.005;
const landingS = 1.4;
const downMps = 1.5;

/** An arm that feels this much in the air from 1 s on and falls at 1.5 m/s as the feet meet the floor. */
function jumpFelt(inAirMps2: number) {
  const length = 400;
  const accelMps2 = new Float64Array(3 * length);
  for (let i = 0; i < length; i++) {
    const t = i * stepS;
    accelMps2[3 * i + 2] = t < 1 ? 9.8 : t < landingS ? inAirMps2 : t < landingS + 0.02 ? 40 : 9.8;
  }
  const block: ImuBlock = {
    length,
    timeS: Float64Array.from({ length }, (_, i) => i * stepS),
    accelMps2,
    gyroRadps: new Float64Array(3 * length),
    flags: new Uint8Array(length),
  };
  const path = { block, timeOf: (i: number) => i * stepS } as unknown as Strapdown;
  const motion = { up: [0, 0, 1], velocityMps: () => [0, 0, -downMps] } as unknown as Motion;
  return findJump(path, motion, 1.15, resolveParams(wristParams));
}

describe('the landing after a shot', () => {
  it.each([2, 6])(
    'shows where the arm feels %d m/s² in the air: the second in a body that turns there',
    (inAirMps2) => {
      const jump = jumpFelt(inAirMps2);
      expect(jump?.landing.timeS).toBeCloseTo(landingS, 2);
      // A body leaves the floor as fast as it comes back.
      expect(jump?.takeOff.timeS).toBeCloseTo(landingS - (2 * downMps) / 9.80665, 2);
    },
  );

  it('does not show where the arm feels all of gravity before the blow', () => {
    expect(jumpFelt(9.8)).toBeNull();
  });
});
