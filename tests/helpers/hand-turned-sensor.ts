import type { ImuBlock } from '../../src/foundation/imu-block.ts';
import { conjugate, fromRotationVector, multiply, type Quaternion, rotate } from '../../src/signal/rotation.ts';
import type { Vec3 } from '../../src/signal/vec3.ts';
import { uniformFrom } from '../signal/simulated-sensor-clock.ts';

export interface HandTurnedOptions {
  readonly seed?: number;
  readonly rateHz?: number;
  readonly restS?: number;
  readonly turnS?: number;
  /** Greatest turning rate by hand. */
  readonly fastestRadps?: number;
  readonly accelNoiseMps2?: number;
  readonly gyroNoiseRadps?: number;
  /** Force of the hand besides gravity, standard deviation. */
  readonly handMps2?: number;
  readonly gyroBiasRadps?: Vec3;
  /** What the sensor makes of the true values. */
  readonly reads?: (accelMps2: Vec3, gyroRadps: Vec3) => readonly [Vec3, Vec3];
}

/** A sensor that lies still and is then turned about by a hand; its readings as one block. */
export function handTurned(options: HandTurnedOptions = {}): ImuBlock {
  const { seed = 1, rateHz = 200, restS = 3, turnS = 15, fastestRadps = 2.5, handMps2 = 0.4 } = options;
  const { accelNoiseMps2 = 0.03, gyroNoiseRadps = 0.0012, gyroBiasRadps = [0.01, -0.02, 0.015] } = options;
  const { reads = (accel: Vec3, gyro: Vec3) => [accel, gyro] as const } = options;
  const uniform = uniformFrom(seed);
  const normal = () => Math.sqrt(-2 * Math.log(1 - uniform())) * Math.cos(2 * Math.PI * uniform());
  const waves = Array.from({ length: 9 }, () => ({ hz: 0.1 + 0.35 * uniform(), phase: 2 * Math.PI * uniform() }));
  const length = Math.round((restS + turnS) * rateHz);
  const timeS = new Float64Array(length);
  const accelMps2 = new Float64Array(3 * length);
  const gyroRadps = new Float64Array(3 * length);
  let attitude: Quaternion = fromRotationVector([uniform(), uniform(), uniform()]);
  let hand: Vec3 = [0, 0, 0];
  for (let at = 0; at < length; at++) {
    const t = at / rateHz;
    // The hand takes it up gently.
    const grip = Math.max(0, Math.min(1, t - restS));
    const rate = [0, 1, 2].map((axis) =>
      waves
        .slice(3 * axis, 3 * axis + 3)
        .reduce((sum, { hz, phase }) => sum + (grip * fastestRadps * Math.sin(2 * Math.PI * hz * t + phase)) / 3, 0),
    ) as unknown as Vec3;
    hand = hand.map((value) => 0.97 * value + Math.sqrt(1 - 0.97 ** 2) * handMps2 * normal()) as unknown as Vec3;
    const gravity = rotate(conjugate(attitude), [0, 0, 9.80665]);
    const force = gravity.map((value, axis) => value + grip * hand[axis]!) as unknown as Vec3;
    const [accel, gyro] = reads(force, rate);
    timeS[at] = t;
    for (let axis = 0; axis < 3; axis++) {
      accelMps2[3 * at + axis] = accel[axis]! + accelNoiseMps2 * normal();
      gyroRadps[3 * at + axis] = gyro[axis]! + gyroBiasRadps[axis]! + gyroNoiseRadps * normal();
    }
    attitude = multiply(attitude, fromRotationVector(rate.map((value) => value / rateHz) as unknown as Vec3));
  }
  return { length, timeS, accelMps2, gyroRadps, flags: new Uint8Array(length) };
}

/** The block in pieces, as a stream brings it. */
export function inPieces(block: ImuBlock, samples: number): ImuBlock[] {
  const pieces: ImuBlock[] = [];
  for (let from = 0; from < block.length; from += samples) {
    const to = Math.min(block.length, from + samples);
    pieces.push({
      length: to - from,
      timeS: block.timeS.slice(from, to),
      accelMps2: block.accelMps2.slice(3 * from, 3 * to),
      gyroRadps: block.gyroRadps?.slice(3 * from, 3 * to) ?? null,
      flags: block.flags.slice(from, to),
    });
  }
  return pieces;
}
