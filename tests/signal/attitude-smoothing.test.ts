import { describe, expect, it } from 'vitest';
import type { ImuBlock } from '../../src/foundation/imu-block.ts';
import { sampleFlag } from '../../src/foundation/imu-block.ts';
import { smoothAttitude } from '../../src/signal/attitude-smoothing.ts';
import { type AttitudeTrack, attitudeAt, estimateAttitude } from '../../src/signal/attitude-track.ts';
import {
  inclinationErrorRad,
  type MadeMotion,
  madeNoise,
  matrixProduct,
  senseMotion,
  turnMatrix,
} from './made-motion.ts';

const degree = Math.PI / 180;

/** Swings about two axes from the first sample on, with strong acceleration. */
const swinging: MadeMotion = {
  sensorToWorld: (t) =>
    matrixProduct(
      turnMatrix([1, 0, 0], 1.2 * (1 - Math.cos(5 * t))),
      turnMatrix([0, 0.6, 0.8], 0.9 * (1 - Math.cos(3.1 * t))),
    ),
  accelMps2: (t) => [8 * Math.sin(7 * t), 6 * Math.sin(5 * t), 5 * Math.sin(9 * t)],
};

function sensed(durationS: number): ImuBlock {
  return senseMotion(swinging, 200, durationS, {
    gyroBiasRadps: [0.01, 0.02, -0.01],
    noise: madeNoise(11),
    gyroNoiseRadps: 0.0012,
    accelNoiseMps2: 0.03,
  });
}

function rmsInclination(track: AttitudeTrack, from = 0, to = track.length): number {
  let sum = 0;
  for (let i = from; i < to; i++) {
    sum += inclinationErrorRad(attitudeAt(track, i), swinging.sensorToWorld(track.timeS[i]!)) ** 2;
  }
  return Math.sqrt(sum / (to - from));
}

describe('attitude over a finished window', () => {
  it('knows the first moments from what came after, as the filter cannot', () => {
    const block = sensed(20);
    const online = rmsInclination(estimateAttitude(block), 0, 600);
    const smooth = rmsInclination(smoothAttitude(block), 0, 600);
    expect(online).toBeGreaterThan(3 * degree);
    expect(smooth).toBeLessThan(online / 2);
  });

  it('is closer than the filter over the whole window and within what it states', () => {
    const block = sensed(40);
    const track = smoothAttitude(block);
    expect(rmsInclination(track)).toBeLessThan(rmsInclination(estimateAttitude(block)));
    let squares = 0;
    let stated = 0;
    for (let i = 0; i < track.length; i++) {
      squares += inclinationErrorRad(attitudeAt(track, i), swinging.sensorToWorld(track.timeS[i]!)) ** 2;
      stated += track.inclinationSdRad[i]! ** 2;
    }
    expect(squares).toBeLessThan(stated);
  });

  it('keeps doubt on both sides of a gap and still holds within it', () => {
    const whole = sensed(20);
    const keep = Array.from({ length: whole.length }, (_, i) => i).filter((i) => !(i >= 2000 && i < 2200));
    const pick = (a: Float64Array, width: number) =>
      Float64Array.from(keep.flatMap((i) => Array.from(a.subarray(width * i, width * i + width))));
    const flags = new Uint8Array(keep.length);
    flags[2000] = sampleFlag.gapBefore;
    const block: ImuBlock = {
      length: keep.length,
      timeS: pick(whole.timeS, 1),
      accelMps2: pick(whole.accelMps2, 3),
      gyroRadps: pick(whole.gyroRadps!, 3),
      flags,
    };
    const track = smoothAttitude(block);
    const unbroken = smoothAttitude(whole);
    expect(track.headingSdRad[2000]!).toBeGreaterThan(unbroken.headingSdRad[2200]! + 0.2);
    expect(track.inclinationSdRad[2000]!).toBeGreaterThan(unbroken.inclinationSdRad[2200]!);
    for (let i = 0; i < track.length; i += 37) {
      const error = inclinationErrorRad(attitudeAt(track, i), swinging.sensorToWorld(track.timeS[i]!));
      expect(error).toBeLessThan(3 * track.inclinationSdRad[i]!);
    }
  });

  it('uses a still moment at the end for the motion before it', () => {
    const ending: MadeMotion = {
      sensorToWorld: (t) => swinging.sensorToWorld(Math.min(t, 4 * Math.PI)),
      accelMps2: (t) => (t < 4 * Math.PI ? swinging.accelMps2(t) : [0, 0, 0]),
    };
    const track = smoothAttitude(senseMotion(ending, 200, 18));
    const before = Math.round((4 * Math.PI - 1) * 200);
    expect(track.atRest[17 * 200]).toBe(1);
    expect(track.inclinationSdRad[before]!).toBeLessThan(estimateAttitude(sensed(18)).inclinationSdRad[before]!);
  });

  it('leaves its input as it was and refuses a stream without a gyroscope', () => {
    const block = sensed(2);
    const copy = structuredClone(block);
    smoothAttitude(block);
    expect(block).toEqual(copy);
    expect(() => smoothAttitude({ ...block, gyroRadps: null })).toThrow('attitude needs a gyroscope');
  });
});
