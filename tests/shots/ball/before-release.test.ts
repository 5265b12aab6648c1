import { describe, expect, it } from 'vitest';
import {
  type Arrival,
  judgeStart,
  phaseLimits,
  type RoomPath,
  readPhases,
  roomPath,
} from '../../../src/shots/ball/before-release.ts';
import type { Walk } from '../../../src/shots/ball/walk-back.ts';

const stepS = 0.005;

/** A path by its height and its place to the side; the rise is the exact derivative, release the last entry at 0 m. */
function path(
  durationS: number,
  heightAt: (t: number) => number,
  riseAt: (t: number) => number,
  sideAt: (t: number) => number = () => 0,
): RoomPath {
  const length = Math.round(durationS / stepS) + 1;
  const column = (at: (t: number) => number) => Float64Array.from({ length }, (_, i) => at(i * stepS));
  return {
    length,
    timeS: column((t) => t),
    heightM: column(heightAt),
    riseMps: column(riseAt),
    sideM: column(sideAt),
    forwardMps: new Float64Array(length),
    leftMps: new Float64Array(length),
    forceMps2: new Float64Array(length),
  };
}

describe('the phases of a dip and a lift', () => {
  // Down from −0.7 m to −1.1 m and up to 0 m by half cosines: lowest at 0.4 s, release at 1 s.
  const down = (t: number) => -0.9 + 0.2 * Math.cos((Math.PI * t) / 0.4);
  const up = (t: number) => -0.55 - 0.55 * Math.cos((Math.PI * (t - 0.4)) / 0.6);
  const downRise = (t: number) => -0.2 * (Math.PI / 0.4) * Math.sin((Math.PI * t) / 0.4);
  const upRise = (t: number) => 0.55 * (Math.PI / 0.6) * Math.sin((Math.PI * (t - 0.4)) / 0.6);
  const dipped = path(
    1,
    (t) => (t < 0.4 ? down(t) : up(t)),
    (t) => (t < 0.4 ? downRise(t) : upRise(t)),
    (t) => 0.12 * Math.sin(Math.PI * t) - 0.05 * Math.sin(3 * Math.PI * t),
  );
  const phases = readPhases(dipped, 0, false);

  it('lift begins a centimetre above the lowest height', () => {
    // −0.55 − 0.55 cos φ = −1.09, the height between entries by a straight line: wrong by h² a / 8 = 5e-5 m at most, at a
    // rise of 0.39 m/s, so 0.12 ms.
    const liftS = 0.4 + (0.6 / Math.PI) * Math.acos((1.09 - 0.55) / 0.55);
    expect(Math.abs(phases.liftS - liftS)).toBeLessThan(0.0002);
    expect(phases.liftHeightM).toBeCloseTo(-1.09, 9);
    expect(phases.pickupHeightM).toBeCloseTo(-0.7, 9);
  });

  it('the pause is the time slower than 0.3 m/s up or down', () => {
    // At the start of the way down, at the lowest point, and at the end of the way up; the longest is the one in the middle.
    const before = 0.4 - (0.4 / Math.PI) * Math.asin(phaseLimits.pauseMps / (0.2 * (Math.PI / 0.4)));
    const enteredS = Math.max(before, 0.4 - (0.4 - before));
    const leftS = 0.4 + (0.6 / Math.PI) * Math.asin(phaseLimits.pauseMps / (0.55 * (Math.PI / 0.6)));
    expect(Math.abs(phases.pauseS - (leftS - enteredS))).toBeLessThan(0.0005);
    expect(Math.abs(phases.pauseShare)).toBeLessThan(0.02);
  });

  it('the side path is the largest excursion, with its sign, and the other side is told apart', () => {
    const sides = Array.from(dipped.sideM);
    expect(phases.sidePathM).toBe(Math.max(...sides));
    expect(phases.otherSideM).toBe(Math.min(...sides, 0));
    const mirrored = readPhases({ ...dipped, sideM: dipped.sideM.map((s) => -s) }, 0, false);
    expect(mirrored.sidePathM).toBe(-phases.sidePathM);
  });

  it('looks at nothing before the ball came to the hands', () => {
    const late = readPhases(dipped, 0.6, false);
    expect(late.pickupHeightM).toBeCloseTo(up(0.6), 9);
    expect(late.liftS).toBeGreaterThanOrEqual(0.6);
    expect(late.pauseS).toBeLessThan(phases.pauseS);
  });

  it('the low rest ends where the rise passes 0.1 m/s', () => {
    const restS = 0.4 + (0.6 / Math.PI) * Math.asin(phaseLimits.restMps / (0.55 * (Math.PI / 0.6)));
    // The rise is all but straight there: a third derivative of 80 m/s³ · h² / 8 over 15 m/s² is 1e-5 s.
    expect(Math.abs((phases.lowRestS as number) - restS)).toBeLessThan(1e-4);
  });
});

describe('a held ball', () => {
  // Still at −1 m for 0.8 s, then up with 10 m/s² for 0.4472 s.
  const liftS = Math.sqrt(0.2);
  const held = path(
    0.8 + liftS,
    (t) => -1 + 5 * Math.max(0, t - 0.8) ** 2,
    (t) => 10 * Math.max(0, t - 0.8),
  );

  it('starts its clock at the last low rest', () => {
    const phases = readPhases(held, 0, true);
    expect(phases.lowRestS).toBeCloseTo(0.8 + phaseLimits.restMps / 10, 9);
    expect(phases.liftS).toBe(phases.lowRestS);
    expect(phases.liftHeightM).toBe(phases.pickupHeightM);
    // Counted from entry to entry, up to the end of that rest.
    expect(phases.stillS).toBeCloseTo(phases.lowRestS as number, 9);
  });

  it('has no low rest where it is held high', () => {
    const high = { ...held, heightM: held.heightM.map((h) => h / 2) };
    expect(readPhases(high, 0, true).lowRestS).toBeNull();
    expect(readPhases(high, 0, true).stillS).toBe(0);
  });

  it('is not still while it is carried along fast or pushed', () => {
    const carried = { ...held, forwardMps: held.forwardMps.map(() => 0.7) };
    expect(readPhases(carried, 0, true).stillS).toBe(0);
    const pushed = { ...held, forceMps2: held.forceMps2.map(() => phaseLimits.stillForceMps2 + 0.1) };
    expect(readPhases(pushed, 0, true).stillS).toBe(0);
  });

  it('is still where its path drifts steadily along the floor: that is the error of the path', () => {
    const drifting = { ...held, leftMps: held.leftMps.map(() => -0.35) };
    expect(readPhases(drifting, 0, true).stillS).toBeCloseTo(readPhases(held, 0, true).stillS, 9);
  });

  it('is not still while the hands still bring it along and slow down, however slow that is', () => {
    // From 0.55 m/s to nothing within 0.6 s, and still from then on: of the rest only what lies within 0.2 m/s counts.
    const slowing = { ...held, forwardMps: held.forwardMps.map((_, i) => 0.55 * Math.max(0, 1 - (i * stepS) / 0.6)) };
    const stillFromS = 0.6 * (1 - phaseLimits.stillMps / 0.55);
    const stillS = readPhases(slowing, 0, true).stillS;
    expect(Math.abs(stillS - (readPhases(held, 0, true).stillS - stillFromS))).toBeLessThan(2 * stepS);
  });
});

describe('the path in the room', () => {
  it('turns a walk to time order in the axes of the shot, and ends at release', () => {
    // Straight up along the frozen x with 2 m/s, to the left along −z with 1 m/s, from 0.1 s to the first sample at 0.3 s.
    const length = 41;
    const timeS = Float64Array.from({ length }, (_, k) => 0.3 - k * stepS);
    const three = (at: (t: number) => number[]) => Float64Array.from([...timeS].flatMap((t) => at(t - 0.3)));
    const walk: Walk = {
      length,
      timeS,
      positionM: three((t) => [2 * t, 0, -t]),
      velocityMps: three(() => [2, 0, -1]),
      forceMps2: three(() => [9.80665 + 3, 4, 0]),
      spinRadps: new Float64Array(3 * length),
      attitude: new Float64Array(4 * length),
    };
    const room = roomPath(walk, { forward: [0, -1, 0], left: [0, 0, -1], up: [1, 0, 0] }, 0.298);
    expect(room.length).toBe(length - 1 + 1);
    expect(room.timeS[0]).toBeCloseTo(0.1, 12);
    expect(room.timeS[room.length - 1]).toBe(0.298);
    for (let i = 0; i < room.length; i++) {
      const t = (room.timeS[i] as number) - 0.298;
      expect(room.heightM[i]).toBeCloseTo(2 * t, 12);
      expect(room.sideM[i]).toBeCloseTo(t, 12);
      expect(room.riseMps[i]).toBe(2);
      expect(room.forwardMps[i]).toBeCloseTo(0, 12);
      expect(room.leftMps[i]).toBeCloseTo(1, 12);
      if (i < room.length - 1) expect(room.forceMps2[i]).toBeCloseTo(5, 9);
    }
  });
});

describe('how the ball came to the hands', () => {
  const thrown = { levelMps: 2, riseMps: -3, dropM: 0.9 };
  const bounce: Arrival = { endS: 1, closingMps: 1, bounced: true, rhythm: false, thrown };
  const unseen = { ...bounce, thrown: null };
  it.each<[string, Arrival | null, number, number, string]>([
    ['long in the hands', bounce, 1.5, 0, 'hold'],
    ['still in the hands', bounce, 0.8, 0.4, 'hold'],
    ['not seen', null, 0.8, 0, 'unknown'],
    ['through the air', { ...bounce, bounced: false }, 0.8, 0, 'catch'],
    ['pushed down from the hip', bounce, 0.8, 0, 'dribble'],
    ['pushed down on the run', { ...bounce, thrown: { levelMps: 4.2, riseMps: -3.2, dropM: 0.8 } }, 0.8, 0, 'dribble'],
    ['let fall', { ...bounce, thrown: { levelMps: 0.5, riseMps: 0, dropM: 1 } }, 0.8, 0, 'dribble'],
    ['tossed up before it bounced', { ...bounce, thrown: { levelMps: 1.5, riseMps: 2.5, dropM: 1 } }, 0.8, 0, 'catch'],
    ['let fall from overhead', { ...bounce, thrown: { levelMps: 0.3, riseMps: 0.2, dropM: 1.6 } }, 0.8, 0, 'catch'],
    ['passed forward to the floor', { ...bounce, thrown: { levelMps: 6, riseMps: -1, dropM: 1 } }, 0.8, 0, 'catch'],
    [
      'passed from the chest, not fast',
      { ...bounce, thrown: { levelMps: 4.6, riseMps: -2, dropM: 1.1 } },
      0.8,
      0,
      'catch',
    ],
    ['passed hard downward', { ...bounce, thrown: { levelMps: 7, riseMps: -3.5, dropM: 1 } }, 0.8, 0, 'catch'],
    ['between the two, alone', { ...bounce, thrown: { levelMps: 5, riseMps: -2.8, dropM: 0.8 } }, 0.8, 0, 'catch'],
    [
      'the same in the rhythm of a dribble',
      { ...bounce, thrown: { levelMps: 5, riseMps: -2.8, dropM: 0.8 }, rhythm: true },
      0.8,
      0,
      'dribble',
    ],
    ['of which the way down was not seen, slowly', unseen, 0.8, 0, 'dribble'],
    ['of which the way down was not seen, fast', { ...unseen, closingMps: 3 }, 0.8, 0, 'catch'],
    ['of which it was not seen, fast in a rhythm', { ...unseen, closingMps: 4, rhythm: true }, 0.8, 0, 'dribble'],
  ])('%s', (_, arrival, inHandsS, stillS, kind) => {
    expect(judgeStart(arrival, inHandsS, stillS)).toBe(kind);
  });
});
