import { describe, expect, it } from 'vitest';
import type { ImuBlock } from '../../../src/foundation/imu-block.ts';
import type { ShotAxes } from '../../../src/shots/ball/before-release.ts';
import type { Surroundings } from '../../../src/shots/ball/flight-study.ts';
import { type Impact, judgeContact, measureImpact } from '../../../src/shots/ball/impact.ts';
import { norm, scale, type Vec3 } from '../../../src/signal/vec3.ts';

/** Forward is the frozen frame's z, left its x, up its y. */
const axes: ShotAxes = { forward: [0, 0, 1], left: [1, 0, 0], up: [0, 1, 0] };

/** Force of given size along one direction, `rateHz` samples a second, the first at the touch. */
function touched(
  sizeAt: (timeS: number) => number,
  direction: Vec3,
  rateHz = 1000,
  clippedFrom = Infinity,
  feigned = 0,
  leastMps = 0,
) {
  const length = Math.round(0.4 * rateHz);
  const first = 7;
  const timeS = Float64Array.from({ length }, (_, i) => 2 + i / rateHz);
  const forceMps2 = new Float64Array(3 * length);
  const sizeMps2 = new Float64Array(length);
  const flags = new Uint8Array(first + length);
  for (let i = 0; i < length; i++) {
    const force = scale(direction, sizeAt(i / rateHz));
    forceMps2.set(force, 3 * i);
    sizeMps2[i] = norm(force);
    if ((sizeMps2[i] as number) >= clippedFrom) flags[first + i] = 1;
  }
  const none = new Float64Array(0);
  const around: Surroundings = { first, timeS, forceMps2, sizeMps2, attitude: none, velocityMps: none };
  const block: ImuBlock = { length: flags.length, timeS: none, accelMps2: none, gyroRadps: none, flags };
  const feignedMps2 = () => feigned;
  return measureImpact(block, around, 0, axes, { rebound: null, reading: null, unseenTurn: 0, leastMps, feignedMps2 });
}

/** A half sine, then free flight. */
const halfSine = (peakMps2: number, lengthS: number) => (timeS: number) =>
  timeS < lengthS ? peakMps2 * Math.sin((Math.PI * timeS) / lengthS) : 0;

describe('a touch of known force', () => {
  it('has the impulse of a half sine, 2 / π of peak times duration, in the axes of the shot', () => {
    const impact = touched(halfSine(400, 0.02), [0, 0.6, -0.8]);
    // The trapezoid rule with N steps gives cot(π / 2N) / N in place of 2 / π.
    const sum = (400 * 0.001) / Math.tan(Math.PI / 40);
    expect(impact.hardnessMps).toBeCloseTo(sum, 9);
    const expected = (2 / Math.PI) * 400 * 0.02;
    expect(Math.abs(impact.hardnessMps - expected)).toBeLessThan(0.003 * expected);
    expect(impact.impulseMps[0]).toBeCloseTo(-0.8 * impact.hardnessMps, 12);
    expect(impact.impulseMps[1]).toBeCloseTo(0, 12);
    expect(impact.impulseMps[2]).toBeCloseTo(0.6 * impact.hardnessMps, 12);
    expect(impact.peakMps2).toBeCloseTo(400, 9);
    expect(impact.riseS).toBeCloseTo(0.01, 9);
    expect(Math.abs(impact.durationS - 0.02)).toBeLessThan(0.0011);
    expect(impact).toMatchObject({ clipped: false, hard: true, freeAgain: true });
  });

  it('is soft where the force stays small in its first 8 ms', () => {
    // A net: 80 m/s² after 30 ms; at 8 ms 33 m/s².
    expect(touched(halfSine(80, 0.06), [0, 1, 0])).toMatchObject({ hard: false, freeAgain: true });
    expect(touched(halfSine(100, 0.016), [0, 1, 0]).hard).toBe(true);
    expect(touched(halfSine(100, 0.06), [0, 1, 0]).hard).toBe(false);
  });

  it('is hard at 100 samples a second where the second sample, 10 ms on, is harder than any hand', () => {
    const at = (first: number, second: number) =>
      touched((t) => (t < 0.005 ? first : t < 0.015 ? second : 0), [0, 1, 0], 100).hard;
    expect(at(80, 225)).toBe(true);
    expect(at(40, 110)).toBe(false);
  });

  it('is hard and clipped where the sensor reached its end at once', () => {
    const impact = touched((t) => Math.min(80, halfSine(400, 0.02)(t)), [0, 1, 0], 1000, 80);
    expect(impact).toMatchObject({ hard: true, clipped: true });
  });

  it('lets go for a shorter time where nothing at all is felt of it', () => {
    // From iron into the net: free for 25 ms, then held for long.
    const trapped = (restMps2: number) => (t: number) =>
      t < 0.01 ? 300 * Math.sin((Math.PI * t) / 0.01) : t < 0.035 ? restMps2 : 20;
    expect(touched(trapped(1), [0, 1, 0])).toMatchObject({ freeAgain: true, borne: false });
    expect(touched(trapped(3), [0, 1, 0])).toMatchObject({ freeAgain: false, borne: true });
  });

  it('does not let go where a hand keeps holding the ball', () => {
    const hand = (t: number) => (t < 0.05 ? 60 * Math.sin((Math.PI * t) / 0.1) : 10);
    expect(touched(hand, [0, 1, 0])).toMatchObject({ hard: false, freeAgain: false });
    // Nor for a few milliseconds of lightness on the way.
    const juggled = (t: number) => (t > 0.08 && t < 0.087 ? 0 : hand(t));
    expect(touched(juggled, [0, 1, 0]).freeAgain).toBe(false);
    const loose = (t: number) => (t > 0.08 && t < 0.12 ? 0 : hand(t));
    expect(touched(loose, [0, 1, 0]).freeAgain).toBe(true);
  });

  it('is borne by hands that slap as hard as iron, and by nothing that gives the ball back or was not seen', () => {
    const slap = (t: number) => (t < 0.02 ? 300 * Math.sin((Math.PI * t) / 0.02) : 10);
    expect(touched(slap, [0, 1, 0])).toMatchObject({ hard: true, freeAgain: false, borne: true });
    expect(touched(halfSine(300, 0.02), [0, 1, 0])).toMatchObject({ hard: true, borne: false });
    const clippedLater = (t: number) => (t > 0.15 && t < 0.16 ? 500 : slap(t));
    expect(touched(clippedLater, [0, 1, 0], 1000, 400).borne).toBe(false);
  });

  it('is borne by nothing where the offset of the sensor may feign the force', () => {
    const hand = (t: number) => (t < 0.05 ? 60 * Math.sin((Math.PI * t) / 0.1) : 10);
    expect(touched(hand, [0, 1, 0], 1000, Infinity, 2).borne).toBe(true);
    expect(touched(hand, [0, 1, 0], 1000, Infinity, 12).borne).toBe(false);
  });

  it('is pushed about for longer than hands do within a stiff net', () => {
    const net = (t: number) => 40 + 25 * Math.sin(40 * t);
    expect(touched(net, [0, 1, 0], 200)).toMatchObject({ tossed: true, borne: false });
    const hands = (t: number) => (t < 0.1 ? 40 : 12);
    expect(touched(hands, [0, 1, 0], 200)).toMatchObject({ tossed: false, borne: true });
  });

  it('is no slap where iron let go of the ball for a moment before a net took it, at few samples a second, too', () => {
    const trapped = (t: number) => (t < 0.015 ? 200 : t < 0.035 ? 1 : 50);
    expect(touched(trapped, [0, 1, 0], 100)).toMatchObject({ hard: true, freeAgain: true, borne: false });
    const slap = (t: number) => (t < 0.015 ? 200 : 20);
    expect(touched(slap, [0, 1, 0], 100)).toMatchObject({ hard: true, freeAgain: false, borne: true });
  });

  it('lay between the samples where it changed the spin more than the force seen can', () => {
    // 0.64 m/s of a half sine of 100 m/s² and 10 ms.
    expect(touched(halfSine(100, 0.01), [0, 1, 0], 1000, Infinity, 0, 1).hidden).toBe(false);
    expect(touched(halfSine(100, 0.01), [0, 1, 0], 1000, Infinity, 0, 2).hidden).toBe(true);
  });

  it('is followed for a tenth of a second at most', () => {
    const impact = touched(() => 10, [0, 1, 0]);
    expect(impact.durationS).toBeGreaterThan(0.098);
    expect(impact.durationS).toBeLessThanOrEqual(0.1 + 1e-9);
    // Ten metres per second squared over that time, less half of the first step.
    expect(Math.abs(impact.hardnessMps - 10 * impact.durationS)).toBeLessThan(0.0051);
  });
});

describe('what the ball met', () => {
  const ring = { meanM: 0.85, standardDeviationM: 0.1 };
  const floor = { expectedM: -2.05, highestM: -2.05 };
  const hit: Impact = {
    impulseMps: [-1, 0, 4],
    hardnessMps: 4.1,
    peakMps2: 300,
    riseS: 0.005,
    durationS: 0.02,
    clipped: false,
    hard: true,
    freeAgain: true,
    borne: false,
    rebound: null,
    fallsOn: false,
    swung: false,
    tossed: false,
    hidden: false,
    reading: null,
  };
  it.each<[string, Partial<Impact>, number, string]>([
    ['ring, pushed up', {}, 0.95, 'ring'],
    ['board, pushed back above the ring', { impulseMps: [-6, 0, 1] }, 1.25, 'board'],
    ['ring, pushed back at its own height', { impulseMps: [-6, 0, 1] }, 0.9, 'ring'],
    ['net, softly', { hard: false, peakMps2: 60, riseS: 0.02, durationS: 0.04 }, 0.7, 'net'],
    ['net, for long', { durationS: 0.07 }, 0.7, 'net'],
    ['floor', {}, -2.0, 'floor'],
    ['floor, soft but bouncing', { hard: false }, -2.2, 'floor'],
    ['hands at the floor, which keep it', { hard: false, freeAgain: false, borne: true }, -2.0, 'hands'],
    ['hands at the height of the ring that slap', { borne: true, freeAgain: false }, 0.85, 'hands'],
    ['hands at the height of the ring', { hard: false, freeAgain: false, borne: true }, 0.85, 'hands'],
    [
      'a net that holds on to a ball that still falls',
      { hard: false, freeAgain: false, borne: true, fallsOn: true, peakMps2: 70 },
      0.8,
      'net',
    ],
    ['iron or an edge that is grazed', { hard: false, peakMps2: 30, durationS: 0.005 }, 0.95, 'ring'],
    ['a net brushed in passing', { hard: false, peakMps2: 3, durationS: 0.01 }, 0.7, 'net'],
    ['iron between samples before the net', { hard: false, hidden: true, peakMps2: 40, durationS: 0.07 }, 0.95, 'ring'],
    ['iron behind a gap, by what it did to the spin', { hard: false, swung: true, durationS: 0.07 }, 0.95, 'ring'],
    ['a stiff net that pushes it about', { hard: false, freeAgain: false, tossed: true, peakMps2: 70 }, 0.8, 'net'],
    ['what goes on unseen after a soft touch', { hard: false, freeAgain: false }, 0.85, 'unknown'],
    ['soft touch half way down', { hard: false }, -0.5, 'hands'],
    ['something hard half way down', {}, -0.5, 'unknown'],
    ['something hard far above', {}, 2.5, 'unknown'],
  ])('%s', (_, change, heightM, kind) => {
    expect(judgeContact({ ...hit, ...change }, heightM, ring, floor)).toBe(kind);
  });

  it('takes a hard bounce below any release for the floor where nobody told how high the release was', () => {
    const untold = { expectedM: -1.75, highestM: -0.88 };
    const wide = { meanM: 0.73, standardDeviationM: 0.25 };
    const up: Impact = { ...hit, impulseMps: [-2, 0, 9], hardnessMps: 9.2 };
    expect(judgeContact(up, -1.1, wide, untold)).toBe('floor');
    expect(judgeContact({ ...up, impulseMps: [-9, 0, 2] }, -1.1, wide, untold)).not.toBe('floor');
    expect(judgeContact({ ...up, freeAgain: false, borne: true }, -1.1, wide, untold)).toBe('hands');
    // Hands that go down with the ball after they braked it for a tenth of a second.
    expect(judgeContact({ ...up, durationS: 0.1 }, -1.1, wide, untold)).not.toBe('floor');
  });
});
