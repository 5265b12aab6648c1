import { smoothAttitude } from '../../src/signal/attitude-smoothing.ts';
import { estimateAttitude } from '../../src/signal/attitude-track.ts';
import { identityQuaternion, multiply, type Quaternion, stepRotation } from '../../src/signal/rotation.ts';
import { vecAt } from '../../src/signal/vec3.ts';
import { type MadeMotion, madeNoise, matrixProduct, senseMotion, turnMatrix } from '../signal/made-motion.ts';
import type { BenchRow } from './bench.ts';

const rateHz = 200;
const durationS = 120;

/** An arm that swings for two seconds and rests for two, in turn. */
const motion: MadeMotion = {
  sensorToWorld: (t) => {
    const swing = t % 4 < 2 ? 1 - Math.cos(Math.PI * t) : 0;
    return matrixProduct(turnMatrix([1, 0, 0], swing), turnMatrix([0, 0.6, 0.8], 0.7 * swing));
  },
  accelMps2: (t) => (t % 4 < 2 ? [8 * Math.sin(2 * Math.PI * t), 5 * Math.sin(Math.PI * t), 0] : [0, 0, 0]),
};

/**
 * Attitude from samples. Baseline: the rates of the same samples integrated alone, without gravity, bias, rest or errors.
 */
export async function rows(): Promise<readonly BenchRow[]> {
  const block = senseMotion(motion, rateHz, durationS, {
    noise: madeNoise(1),
    gyroNoiseRadps: 0.0012,
    accelNoiseMps2: 0.03,
  });
  const gyro = block.gyroRadps as Float64Array;
  const common = { amount: block.length, amountOf: 'samples', recordingS: durationS };
  return [
    {
      ...common,
      name: 'integrate the rates alone',
      baseline: true,
      run: () => {
        let q: Quaternion = identityQuaternion;
        for (let i = 1; i < block.length; i++) {
          q = multiply(q, stepRotation(vecAt(gyro, i - 1), vecAt(gyro, i), 1 / rateHz));
        }
        return q;
      },
    },
    { ...common, name: 'attitude, sample by sample', run: () => estimateAttitude(block) },
    { ...common, name: 'attitude over a finished window', run: () => smoothAttitude(block) },
  ];
}
