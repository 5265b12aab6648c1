import { type MadeMotion, matrixProduct, turnMatrix } from '../../signal/made-motion.ts';

/** One arm that hangs, is raised, snaps, holds and comes down again, over and over; a sensor on it, turned anyhow. */
export interface MadeArm {
  readonly side: 'right' | 'left';
  /** Elevation of the segment while hanging, at the set point, and after the snap, rad. */
  readonly hangRad: number;
  readonly setRad: number;
  readonly endRad: number;
  /** Sensor to segment (x toward the fingers, z out of the back). */
  readonly mount: number[][];
  /** Turns of the forearm about itself while it hangs. */
  readonly twists?: boolean;
}

/** Seconds of one round, and the release within it. */
export const roundS = 7;
export const releaseAtS = 3.8;
export const holdAtS = 4.2;

const snapS = 0.2;

export function madeArm(arm: MadeArm): MadeMotion {
  const sign = arm.side === 'right' ? -1 : 1;
  // Forearm forward and level, thumb up.
  const base =
    arm.side === 'right'
      ? [
          [1, 0, 0],
          [0, 0, -1],
          [0, 1, 0],
        ]
      : [
          [1, 0, 0],
          [0, 0, 1],
          [0, -1, 0],
        ];
  const elevation = (t: number) => {
    const { hangRad, setRad, endRad } = arm;
    return (
      hangRad +
      (setRad - hangRad) * step((t - 3) / 0.6) +
      (endRad - setRad) * step((t - (releaseAtS - snapS / 2)) / snapS) +
      (hangRad - endRad) * step((t - 5) / 1)
    );
  };
  const pronation = (t: number) => {
    const twist = arm.twists && t > 1 && t < 2 ? 0.8 * Math.sin(2 * Math.PI * (t - 1)) ** 3 : 0;
    return 0.35 + twist + 1.2 * (step((t - 3.1) / 0.5) - step((t - 5) / 1));
  };
  return {
    sensorToWorld: (timeS) => {
      const t = timeS % roundS;
      const raised = matrixProduct(turnMatrix([0, 1, 0], -elevation(t)), base);
      const turned = matrixProduct(raised, turnMatrix([1, 0, 0], sign * pronation(t)));
      return matrixProduct(turned, arm.mount);
    },
    accelMps2: () => [0, 0, 0],
  };
}

/** From 0 to 1 with two continuous derivatives. */
function step(u: number): number {
  const x = Math.min(1, Math.max(0, u));
  return x * x * x * (10 - 15 * x + 6 * x * x);
}
