import { describe, expect, it } from 'vitest';
import { aeroPreset, ballPresets } from '../../../src/flight/ball-presets.ts';
import type { ImuBlock } from '../../../src/foundation/imu-block.ts';
import { sampleFlag } from '../../../src/foundation/imu-block.ts';
import {
  type ArrivalSearch,
  bouncedBefore,
  findArrival,
  freeBeforeBounce,
  handsVelocity,
  offRolling,
  rollOffFloor,
} from '../../../src/shots/ball/arrival.ts';
import { jointCount, type Solution } from '../../../src/shots/ball/shot-solution.ts';
import { independent } from '../../../src/signal/gaussian.ts';

const stepS = 0.005;

/** Forces along x, one a sample; free before and behind. */
function forces(values: readonly number[], clippedFrom = Number.POSITIVE_INFINITY): ImuBlock {
  const all = [...new Array<number>(20).fill(0.7), ...values, ...new Array<number>(20).fill(0.7)];
  return {
    length: all.length,
    timeS: Float64Array.from(all, (_, i) => i * stepS),
    accelMps2: Float64Array.from(all.flatMap((f) => [f, 0, 0])),
    gyroRadps: new Float64Array(3 * all.length),
    flags: Uint8Array.from(all, (f) => (Math.abs(f) >= clippedFrom ? sampleFlag.accelClipped : 0)),
  };
}

/** Whether the first free sample behind the push seems to come off the floor. */
const bounced = (values: readonly number[]) => bouncedBefore(forces(values, 156), 20 + values.length + 1, 0.003);

describe('a bounce off the floor right before a flight', () => {
  it.each<[string, readonly number[], boolean]>([
    ['three samples, the middle at the end of the range', [120, 156, 90], true],
    ['the same with the swing of a filter behind it', [195, 156, 156, 16, -27, 5], true],
    ['a throw: as long as a hand pushes', [30, 40, 50, 60, 70, 80, 80, 80, 80, 70, 60, 50, 40, 30], false],
    ['a soft touch', [10, 20, 15], false],
    ['nothing at all', [1, 1, 1], false],
  ])('%s', (_, values, is) => {
    expect(bounced(values)).toBe(is);
  });
});

describe('a flight before a bounce that was too short to be kept', () => {
  const seen = (earlier: readonly number[], push: readonly number[]) =>
    freeBeforeBounce(forces([...earlier, ...push]), 20 + earlier.length + push.length + 1);
  const hands = new Array<number>(10).fill(12);
  const free = new Array<number>(6).fill(0.8);

  it('is seen by how little the ball felt', () => {
    expect(seen([...hands, ...free], [10, 120, 156, 90])).toBe(true);
    expect(seen(hands, [120, 156, 90])).toBe(false);
  });

  it('lies before no push that lasts as a hand does', () => {
    expect(seen([...hands, ...free], new Array<number>(12).fill(60))).toBe(false);
  });
});

/** A ball that flew until sample 100, was struck there by 4 samples of 200 m/s², and 4 samples later lies in the hands. */
function struck(after: { heightM: number; riseMps: number; gap?: boolean }): ArrivalSearch {
  const length = 180;
  const from = length - 1;
  const force = (i: number) => (i < 100 ? 0.3 : i < 104 ? 200 : i < 109 ? 4 : 10);
  const timeS = Float64Array.from({ length }, (_, i) => i * stepS);
  const flags = new Uint8Array(length);
  if (after.gap) flags[104] = sampleFlag.gapBefore;
  const block: ImuBlock = {
    length,
    timeS,
    accelMps2: Float64Array.from({ length: 3 * length }, (_, i) => (i % 3 === 2 ? force((i - 2) / 3) : 0)),
    gyroRadps: new Float64Array(3 * length),
    flags,
  };
  const back = (values: (i: number) => readonly number[]) =>
    Float64Array.from(Array.from({ length }, (_, k) => values(from - k)).flat());
  const axes = { forward: [1, 0, 0], left: [0, 1, 0], up: [0, 0, 1] } as const;
  const solution = {
    axes,
    state: {
      velocityMps: [0, 0, 0],
      up: [0, 0, 1],
      rateCorrectionRadps: [0, 0, 0],
      dragRatio: 0,
      liftGrowth: 0,
      biasMps2: [0, 0, 0],
      offsetM: [0, 0, 0],
      buoyancyMps2: 0,
      dragSlope: 0,
      dragBend: 0,
      liftLag: 0,
    },
    walk: {
      length,
      timeS: back((i) => [i * stepS]),
      positionM: back(() => [0, 0, after.heightM]),
      velocityMps: back((i) => [i > 130 ? 1 : 0, 0, after.riseMps]),
      forceMps2: back((i) => [0, 0, i < 100 ? 0 : force(i)]),
      spinRadps: back(() => [0, 0, 0]),
      attitude: back(() => [1, 0, 0, 0]),
    },
  } as unknown as Solution;
  const none = new Array<number>(jointCount).fill(0);
  const sure = new Array<number>(jointCount).fill(1e-6);
  return {
    block,
    runs: [{ start: 55, end: 100 }],
    solution,
    joint: independent(none, sure),
    aero: aeroPreset(ballPresets[7]),
    from,
    stepS,
    noiseMps2: 0.05,
    filterDelayS: 0,
    floorM: -2,
  };
}

describe('a blow that ends a flight and lets the ball go for a moment', () => {
  it('is a hand that catches hard where the ball is at chest height', () => {
    const arrival = findArrival(struck({ heightM: -0.9, riseMps: 0.3 }));
    expect(arrival).toMatchObject({ seen: true, bounced: false });
    // Sample 99 is the last in flight, sample 100 the first of the blow.
    expect(arrival?.end.timeS).toBeGreaterThan(99 * stepS - 1e-9);
    expect(arrival?.end.timeS).toBeLessThan(100 * stepS + 1e-9);
  });

  it('is the floor where the ball comes from below and fast, and no gap is named where there is none', () => {
    const arrival = findArrival(struck({ heightM: -1.9, riseMps: 3.5 }));
    expect(arrival).toMatchObject({ seen: false, bounced: true, end: { timeS: null, reason: 'no-previous-flight' } });
  });

  it('is the floor, too, where all of the blow was lost and the ball turns otherwise behind it', () => {
    const lost = (turnRadps: number) => {
      const search = struck({ heightM: -1.9, riseMps: 3.5 });
      const { block, solution, from } = search;
      block.flags[100] = sampleFlag.gapBefore;
      for (let i = 100; i < 130; i++) {
        block.accelMps2[3 * i + 2] = 0.5;
        (block.gyroRadps as Float64Array)[3 * i] = turnRadps;
        solution.walk.forceMps2[3 * (from - i) + 2] = 0.5;
      }
      // What was seen of the flight is shorter than a pass.
      return findArrival({ ...search, runs: [{ start: 88, end: 100 }] });
    };
    expect(lost(12)).toMatchObject({ seen: false, bounced: true, end: { timeS: null, reason: 'gap' } });
    expect(lost(0.5)).not.toMatchObject({ seen: false });
  });

  it('names the gap where the way up was lost', () => {
    const arrival = findArrival(struck({ heightM: -1.9, riseMps: 3.5, gap: true }));
    expect(arrival).toMatchObject({ seen: false, bounced: true, end: { timeS: null, reason: 'gap' } });
  });
});

describe('what ends a flight and is no hand', () => {
  const at = (search: ArrivalSearch, change: (search: ArrivalSearch) => void) => {
    change(search);
    return findArrival(search);
  };

  it('is told as clipped where the ball turns on beyond the range of the gyroscope', () => {
    const arrival = at(struck({ heightM: -1.2, riseMps: 0.3 }), ({ block }) => {
      for (let i = 100; i < 125; i++) block.flags[i] = sampleFlag.gyroClipped;
    });
    expect(arrival).toMatchObject({ seen: false, end: { timeS: null, reason: 'clipped' } });
  });

  it('is a hand where the range is left for the blow alone', () => {
    const arrival = at(struck({ heightM: -1.2, riseMps: 0.3 }), ({ block }) => {
      for (let i = 100; i < 105; i++) block.flags[i] = sampleFlag.gyroClipped;
    });
    expect(arrival).toMatchObject({ seen: true });
  });

  it('is the floor where the ball rises from it at once, however it is then touched', () => {
    const bounces = (fallMps: number) =>
      at(struck({ heightM: -1.9, riseMps: 3.5 }), ({ block, solution, from }) => {
        // No free stretch behind the blow.
        for (let i = 104; i < 130; i++) block.accelMps2[3 * i + 2] = 30;
        for (let i = 0; i < 100; i++) solution.walk.velocityMps[3 * (from - i) + 2] = -fallMps;
      });
    expect(bounces(4)).toMatchObject({
      seen: false,
      bounced: true,
      end: { timeS: null, reason: 'no-previous-flight' },
    });
    // A way that only seems to rise lost itself.
    expect(bounces(-1)).toMatchObject({ seen: true });
  });
});

describe('a ball that nearly floats in the hands for a moment', () => {
  const left = (mps2: number) => {
    const search = struck({ heightM: -0.9, riseMps: 0.3 });
    const { forceMps2 } = search.solution.walk;
    for (let i = 55; i < 100; i++) forceMps2[3 * (search.from - i) + 2] = mps2;
    return findArrival({ ...search, runs: [{ start: 68, end: 100 }] });
  };

  it('is no flight: more force is left than air and sensor explain', () => {
    expect(left(1.5)).toBeNull();
    expect(left(0.2)).not.toBeNull();
    // A way that went through a lost bounce is off, but evenly.
    expect(left(1)).not.toBeNull();
  });
});

describe('hands that take the ball so gently that it seems to fly on', () => {
  const taken = (force: (i: number) => number) => {
    const search = struck({ heightM: -0.9, riseMps: 0.3 });
    const { forceMps2 } = search.solution.walk;
    for (let i = 40; i < 100; i++) forceMps2[3 * (search.from - i) + 2] = force(i);
    return findArrival({ ...search, runs: [{ start: 40, end: 100 }] })?.end.timeS;
  };

  it('met it where their push sets in, not where it grows hard at last', () => {
    // Sample 69 is the last in flight, 70 the first in the hands.
    const softlyS = taken((i) => (i < 70 ? 0 : 4 - (i - 70) / 10));
    expect(softlyS).toBeGreaterThan(68 * stepS);
    expect(softlyS).toBeLessThan(70 * stepS);
    // A tick inside the ball is over soon, and an error of speed or of the sensor grows slowly.
    const endS = (force: (i: number) => number) => {
      expect(taken(force)).toBeGreaterThan(98 * stepS);
      expect(taken(force)).toBeLessThan(100 * stepS);
    };
    endS((i) => (i === 70 || i === 71 ? 4 : 0));
    endS((i) => (i - 40) / 60);
  });
});

describe('a ball that slipped out of the hands for less than a pass takes', () => {
  it('is taken again where nothing at all was left over', () => {
    const left = (mps2: number, start: number) => {
      const search = struck({ heightM: -0.9, riseMps: 0.3 });
      const { forceMps2 } = search.solution.walk;
      for (let i = 55; i < 100; i++) forceMps2[3 * (search.from - i) + 2] = mps2;
      return findArrival({ ...search, runs: [{ start, end: 100 }] });
    };
    expect(left(0.05, 80)).not.toBeNull();
    expect(left(0.45, 80)).toBeNull();
    expect(left(0.05, 90)).toBeNull();
  });
});

describe('a ball that comes off the floor', () => {
  const radiusM = 0.12;
  /** It hits the floor at sample 60 with spin, m/s to either axis before and after as friction makes them. */
  const rolling = (before: { x: number; spinY: number }, after: { x: number; spinY: number }) => {
    const search = struck({ heightM: -1.9, riseMps: 3.5 });
    const { walk } = search.solution;
    for (let k = 0; k < walk.length; k++) {
      const now = search.from - k <= 60 ? before : after;
      walk.velocityMps[3 * k] = now.x;
      walk.spinRadps[3 * k + 1] = now.spinY;
    }
    const run = { start: 62, end: 100 };
    const end = { timeS: 0.5, standardErrorS: 0.001, outside: 100 };
    const thrown = { start: 30, end: 60 };
    const arrival = { run, within: run, end, seen: true, startLost: false, bounced: true, rhythm: false, thrown };
    const roll = rollOffFloor(search, arrival, radiusM);
    return { roll, off: roll && offRolling(search.solution, search.from, roll) };
  };

  it('rolls: a hollow ball that gripped keeps hardly any speed of its skin', () => {
    // Without spin at 1 m/s: angular momentum about the point of touch leaves 3/5 of it, rolling.
    const { off } = rolling({ x: 1, spinY: 0 }, { x: 0.6, spinY: 0.6 / radiusM });
    expect(off?.[0]).toBeGreaterThan(-0.06);
    expect(off?.[0]).toBeLessThan(0.06);
    const { off: wrong } = rolling({ x: 1, spinY: 0 }, { x: 0.9, spinY: 0.6 / radiusM });
    expect(wrong?.[0]).toBeCloseTo((off?.[0] ?? 0) + 0.3, 6);
  });

  it('says nothing where friction could not make it roll', () => {
    expect(rolling({ x: 9, spinY: 0 }, { x: 5, spinY: 5 / radiusM }).roll).toBeNull();
  });
});

describe('how the hands move', () => {
  const { solution } = struck({ heightM: -1, riseMps: 0 });

  it('is taken from the time in which they carry the ball', () => {
    const [forward] = handsVelocity(solution, 0.6, 0.89);
    expect(forward).toBeGreaterThan(0.4);
    expect(forward).toBeLessThan(0.8);
  });

  it('is hardly told by a moment', () => {
    expect(Math.abs(handsVelocity(solution, 0.76, 0.89)[0])).toBeLessThan(0.1);
    expect(handsVelocity(solution, 0.8, 0.85)).toEqual([0, 0, 0]);
  });
});
