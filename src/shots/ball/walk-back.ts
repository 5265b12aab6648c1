import { leverAcceleration } from '../../flight/flight-model.ts';
import { standardGravityMps2 } from '../../foundation/constants.ts';
import type { ImuBlock } from '../../foundation/imu-block.ts';
import { multiply, type Quaternion, rotate, stepRotation } from '../../signal/rotation.ts';
import type { Vec3 } from '../../signal/vec3.ts';

/** What the way before release depends on; sigma points shift these together. */
export interface WalkStart {
  /** Attitude of the sensor at the start sample in the frozen frame. */
  readonly attitude: Quaternion;
  readonly velocityMps: Vec3;
  readonly up: Vec3;
  readonly biasMps2: Vec3;
  readonly offsetM: Vec3;
  /** True rate = measured · (1 + scale) + bias, per axis. */
  readonly rateScale: Vec3;
  readonly rateBiasRadps: Vec3;
}

/** Path of the ball's centre going back from the start sample, in the frozen frame; entry k is sample `from − k`. */
export interface Walk {
  readonly length: number;
  readonly timeS: Float64Array;
  readonly positionM: Float64Array;
  readonly velocityMps: Float64Array;
  /** Specific force without bias and lever, turned into the frozen frame, m/s². */
  readonly forceMps2: Float64Array;
  /** Attitude of the sensor in the frozen frame, 4 per entry. */
  readonly attitude: Float64Array;
}

/**
 * Integrates backward in time from release (strapdown inertial navigation, as in Savage 1998, J. Guidance 21:19, with one
 * coning term): trapezoid rule for velocity and position, straight lines across missing samples.
 *
 * Sample `from` is the start; time zero of the state is `startS`, which may lie up to a sample after it.
 *
 * @param block samples with a gyroscope.
 * @param from index of the last sample at or before the start instant.
 * @param to index of the earliest sample wanted.
 */
export function walkBack(block: ImuBlock, from: number, to: number, start: WalkStart): Walk {
  const gyro = block.gyroRadps as Float64Array;
  const length = from - to + 1;
  const timeS = new Float64Array(length);
  const positionM = new Float64Array(3 * length);
  const velocityMps = new Float64Array(3 * length);
  const forceMps2 = new Float64Array(3 * length);
  const attitude = new Float64Array(4 * length);
  const rate = (i: number): Vec3 => [
    (gyro[3 * i] as number) * (1 + start.rateScale[0]) + start.rateBiasRadps[0],
    (gyro[3 * i + 1] as number) * (1 + start.rateScale[1]) + start.rateBiasRadps[1],
    (gyro[3 * i + 2] as number) * (1 + start.rateScale[2]) + start.rateBiasRadps[2],
  ];
  const force = (i: number, w: Vec3, q: Quaternion): Vec3 => {
    const before = Math.max(0, i - 1);
    const after = Math.min(block.length - 1, i + 1);
    const dt = (block.timeS[after] as number) - (block.timeS[before] as number);
    const d: Vec3 = [
      ((gyro[3 * after] as number) - (gyro[3 * before] as number)) / dt,
      ((gyro[3 * after + 1] as number) - (gyro[3 * before + 1] as number)) / dt,
      ((gyro[3 * after + 2] as number) - (gyro[3 * before + 2] as number)) / dt,
    ];
    const lever = leverAcceleration(w, d, start.offsetM);
    return rotate(q, [
      (block.accelMps2[3 * i] as number) - start.biasMps2[0] - lever[0],
      (block.accelMps2[3 * i + 1] as number) - start.biasMps2[1] - lever[1],
      (block.accelMps2[3 * i + 2] as number) - start.biasMps2[2] - lever[2],
    ]);
  };
  const g = standardGravityMps2;
  let q = start.attitude;
  let w = rate(from);
  let f = force(from, w, q);
  let v: Vec3 = start.velocityMps;
  let x: Vec3 = [0, 0, 0];
  for (let k = 0; k < length; k++) {
    const i = from - k;
    if (k > 0) {
      const h = (block.timeS[i] as number) - (block.timeS[i + 1] as number);
      const wNext = rate(i);
      q = multiply(q, stepRotation(w, wNext, h));
      const fNext = force(i, wNext, q);
      const half = h / 2;
      const vNext: Vec3 = [
        v[0] + half * (f[0] + fNext[0]) - h * g * start.up[0],
        v[1] + half * (f[1] + fNext[1]) - h * g * start.up[1],
        v[2] + half * (f[2] + fNext[2]) - h * g * start.up[2],
      ];
      x = [x[0] + half * (v[0] + vNext[0]), x[1] + half * (v[1] + vNext[1]), x[2] + half * (v[2] + vNext[2])];
      v = vNext;
      w = wNext;
      f = fNext;
    }
    timeS[k] = block.timeS[i] as number;
    positionM.set(x, 3 * k);
    velocityMps.set(v, 3 * k);
    forceMps2.set(f, 3 * k);
    attitude.set(q, 4 * k);
  }
  return { length, timeS, positionM, velocityMps, forceMps2, attitude };
}
