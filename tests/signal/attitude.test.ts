import { describe, expect, it } from 'vitest';
import { type ImuBlock, sampleFlag } from '../../src/foundation/imu-block.ts';
import { AttitudeStream, attitudeAt, concatAttitudeTracks, estimateAttitude } from '../../src/signal/attitude-track.ts';
import {
  inclinationErrorRad,
  type MadeMotion,
  madeNoise,
  matrixProduct,
  senseMotion,
  turnMatrix,
} from './made-motion.ts';

const degree = Math.PI / 180;
const still = (tilt: number[][]): MadeMotion => ({ sensorToWorld: () => tilt, accelMps2: () => [0, 0, 0] });
const tilted = matrixProduct(turnMatrix([0.6, 0.8, 0], 50 * degree), turnMatrix([0, 0, 1], 1));

/** Arm swings about two axes and a hand that moves to and fro; at rest until `restS`. */
function swinging(restS: number): MadeMotion {
  const since = (t: number) => Math.max(0, t - restS);
  return {
    sensorToWorld: (t) =>
      matrixProduct(
        turnMatrix([1, 0, 0], 1.2 * (1 - Math.cos(5 * since(t)))),
        turnMatrix([0, 0.6, 0.8], 0.9 * (1 - Math.cos(3.1 * since(t)))),
      ),
    accelMps2: (t) =>
      t < restS ? [0, 0, 0] : [8 * Math.sin(7 * since(t)), 6 * Math.sin(5 * since(t)), 5 * Math.sin(9 * since(t))],
  };
}

describe('the attitude filter', () => {
  it('knows the tilt of a still sensor at once and says so within a second', () => {
    const track = estimateAttitude(senseMotion(still(tilted), 200, 3));
    // Exact up to rounding: nothing moves.
    for (const i of [0, 100, 599]) {
      expect(inclinationErrorRad(attitudeAt(track, i), tilted)).toBeLessThan(1e-7);
    }
    expect(track.inclinationSdRad[0]).toBeGreaterThan(0.5);
    expect(track.inclinationSdRad[200]).toBeLessThan(4 * degree);
    expect(track.atRest[200]).toBe(0);
    expect(track.atRest[599]).toBe(1);
  });

  it.each([50, 200, 1000])('carries a constant turn about the vertical exactly at %i Hz', (rateHz) => {
    const motion: MadeMotion = { sensorToWorld: (t) => turnMatrix([0, 0, 1], 2 * t), accelMps2: () => [0, 0, 0] };
    const track = estimateAttitude(senseMotion(motion, rateHz, 3), { verticalForgetting: 0 });
    const last = track.length - 1;
    const [w, , , z] = attitudeAt(track, last);
    const heading = 2 * Math.atan2(z, w);
    const turned = (2 * last) / rateHz;
    // The rate comes from a difference quotient good to 1e-10; nothing else is approximate.
    expect(Math.abs(Math.sin((heading - turned) / 2))).toBeLessThan(1e-8);
  });

  it.each([200, 400])('loses only the amplitude between samples in coning at %i Hz', (rateHz) => {
    // Classical coning: the axis of a constant angle turns about the vertical, and the heading stays.
    const cone = 10 * degree;
    const turn = 2 * Math.PI * 4;
    const motion: MadeMotion = {
      sensorToWorld: (t) => turnMatrix([Math.cos(turn * t), Math.sin(turn * t), 0], cone),
      accelMps2: () => [0, 0, 0],
    };
    const params = { accelTimeS: 60, verticalForgetting: 0, biasStartSdRadps: 1e-5 };
    const track = estimateAttitude(senseMotion(motion, rateHz, 5), params);
    const [w, , , z] = attitudeAt(track, track.length - 1);
    // Straight lines between samples of a sine of angular frequency W have it too small by (W h)²/12; the turn about
    // the vertical that the swing makes up for, W (1 - cos cone), goes with its square. Next order: (W h)² of that.
    const step = turn / rateHz;
    const drift = turn * (1 - Math.cos(cone)) * 5 * (step ** 2 / 6);
    expect(Math.abs(Math.abs(2 * Math.atan2(z, w)) / drift - 1)).toBeLessThan(2 * step ** 2 + 0.01);
  });

  it('finds the bias at rest and corrects by it', () => {
    const bias = [0.03, -0.02, 0.05] as const;
    const noise = madeNoise(3);
    const errors = { gyroBiasRadps: bias, noise, gyroNoiseRadps: 0.0012, accelNoiseMps2: 0.03 };
    const track = estimateAttitude(senseMotion(still(tilted), 200, 8, errors));
    const last = track.length - 1;
    for (let k = 0; k < 3; k++) {
      // White noise of 0.0012 rad/s over the filter's half second (100 samples): 1.2e-4; five of those.
      expect(Math.abs(track.gyroBiasRadps[3 * last + k]! - bias[k]!)).toBeLessThan(6e-4);
    }
  });

  it.each([50, 200, 833])('holds the inclination within its stated error in motion at %i Hz', (rateHz) => {
    const motion = swinging(3);
    const noise = madeNoise(rateHz);
    const errors = {
      gyroBiasRadps: [0.01, 0.02, -0.01] as const,
      accelBiasMps2: [0.1, -0.1, 0.05] as const,
      noise,
      gyroNoiseRadps: 0.0012,
      accelNoiseMps2: 0.03,
    };
    const block = senseMotion(motion, rateHz, 40, errors);
    const track = estimateAttitude(block);
    let squares = 0;
    let stated = 0;
    for (let i = 4 * rateHz; i < block.length; i++) {
      squares += inclinationErrorRad(attitudeAt(track, i), motion.sensorToWorld(block.timeS[i]!)) ** 2;
      stated += track.inclinationSdRad[i]! ** 2;
    }
    expect(Math.sqrt(squares / stated)).toBeLessThan(1);
    expect(Math.sqrt(squares / (block.length - 4 * rateHz))).toBeLessThan(2.5 * degree);
  });

  it('starts in motion with an unknown inclination and finds it', () => {
    const motion = swinging(0);
    const block = senseMotion(motion, 200, 20);
    const track = estimateAttitude(block);
    expect(track.inclinationSdRad[0]).toBeGreaterThan(0.5);
    const last = block.length - 1;
    expect(track.inclinationSdRad[last]).toBeLessThan(track.inclinationSdRad[0]! / 10);
    for (const i of [20, 100, 400, 1000, last]) {
      const error = inclinationErrorRad(attitudeAt(track, i), motion.sensorToWorld(block.timeS[i]!));
      expect(error).toBeLessThan(3 * track.inclinationSdRad[i]!);
    }
  });

  it('doubts the attitude after a gap, more after a longer one, and recovers', () => {
    const motion = swinging(2);
    const doubts = [0.05, 0.2, 1].map((gapS) => {
      const block = cutOut(senseMotion(motion, 200, 30), 10, 10 + gapS);
      const track = estimateAttitude(block);
      const at = block.timeS.findIndex((t) => t >= 10 + gapS);
      for (let i = at; i < block.length; i += 50) {
        const error = inclinationErrorRad(attitudeAt(track, i), motion.sensorToWorld(block.timeS[i]!));
        expect(error).toBeLessThan(3 * track.inclinationSdRad[i]!);
      }
      expect(track.headingSdRad[at]!).toBeGreaterThan(track.headingSdRad[at - 1]!);
      expect(track.inclinationSdRad[block.length - 1]).toBeLessThan(6 * degree);
      return track.inclinationSdRad[at]!;
    });
    expect(doubts[1]!).toBeGreaterThan(doubts[0]!);
    expect(doubts[2]!).toBeGreaterThan(doubts[1]!);
    expect(doubts[2]!).toBeGreaterThan(15 * degree);
  });

  it('doubts the attitude after clipped rates', () => {
    const motion = swinging(2);
    const free = senseMotion(motion, 200, 15);
    const clipped = clipRates(free, 4);
    const before = estimateAttitude(free);
    const after = estimateAttitude(clipped);
    const last = free.length - 1;
    expect(after.inclinationSdRad[last]).toBeGreaterThan(before.inclinationSdRad[last]!);
    expect(after.headingSdRad[last]).toBeGreaterThan(before.headingSdRad[last]!);
    let squares = 0;
    let stated = 0;
    for (let i = 600; i < free.length; i++) {
      squares += inclinationErrorRad(attitudeAt(after, i), motion.sensorToWorld(free.timeS[i]!)) ** 2;
      stated += after.inclinationSdRad[i]! ** 2;
    }
    expect(squares).toBeLessThan(stated);
  });

  it('gives the same bit for bit however the samples are split', () => {
    const block = senseMotion(swinging(2), 104, 12, {
      noise: madeNoise(8),
      gyroNoiseRadps: 0.002,
      accelNoiseMps2: 0.1,
    });
    block.flags[700] = sampleFlag.gapBefore;
    const whole = estimateAttitude(block);
    for (const piece of [1, 7, 400]) {
      const stream = new AttitudeStream();
      const tracks = [];
      for (let at = 0; at < block.length; at += piece)
        tracks.push(stream.push(part(block, at, Math.min(at + piece, block.length))));
      expect(concatAttitudeTracks(tracks)).toEqual(whole);
    }
  });

  it('refuses a stream without a gyroscope', () => {
    const block = { ...senseMotion(still(tilted), 100, 1), gyroRadps: null };
    expect(() => estimateAttitude(block)).toThrow('attitude needs a gyroscope');
  });
});

function part(block: ImuBlock, from: number, to: number): ImuBlock {
  return {
    length: to - from,
    timeS: block.timeS.slice(from, to),
    accelMps2: block.accelMps2.slice(3 * from, 3 * to),
    gyroRadps: block.gyroRadps!.slice(3 * from, 3 * to),
    flags: block.flags.slice(from, to),
  };
}

function cutOut(block: ImuBlock, fromS: number, toS: number): ImuBlock {
  const first = block.timeS.findIndex((t) => t >= fromS);
  const next = block.timeS.findIndex((t) => t >= toS);
  const join = (a: Float64Array, width: number) =>
    Float64Array.from([...a.slice(0, width * first), ...a.slice(width * next)]);
  const flags = new Uint8Array(block.length - next + first);
  flags[first] = sampleFlag.gapBefore;
  return {
    length: flags.length,
    timeS: join(block.timeS, 1),
    accelMps2: join(block.accelMps2, 3),
    gyroRadps: join(block.gyroRadps!, 3),
    flags,
  };
}

function clipRates(block: ImuBlock, limitRadps: number): ImuBlock {
  const gyroRadps = block.gyroRadps!.map((rate) => Math.min(limitRadps, Math.max(-limitRadps, rate)));
  const flags = block.flags.slice();
  for (let k = 0; k < gyroRadps.length; k++) {
    if (Math.abs(gyroRadps[k]!) >= limitRadps) flags[Math.floor(k / 3)] = sampleFlag.gyroClipped;
  }
  return { ...block, gyroRadps, flags };
}
