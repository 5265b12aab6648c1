import { describe, expect, it } from 'vitest';
import type { Impact } from '../../../src/shots/ball/impact.ts';
import { expectRing, expectSeenRing, rememberRing, ringAboveRelease } from '../../../src/shots/ball/ring-height.ts';
import { noRingMemory, type RingMemory } from '../../../src/shots/ball/ring-memory.ts';
import { defaultBallSettings } from '../../../src/shots/shot.ts';

const settings = defaultBallSettings;
const seen = (meanM: number) => ({ meanM, standardDeviationM: 0.02, byContact: true, interval90M: null });
const rememberAll = (heights: readonly number[]) =>
  heights.reduce((memory: RingMemory, height) => rememberRing(memory, seen(height)), noRingMemory);

describe('the ring that is expected above release', () => {
  it('is that of the settings before the first shot', () => {
    expect(expectSeenRing(settings, noRingMemory)).toEqual(expectRing(settings));
    const told = { ...settings, releaseHeightM: 2.2 };
    expect(expectRing(told).meanM).toBeCloseTo(0.85, 12);
  });

  it('comes near a steady player and stays wide for several who share a ball', () => {
    const steady = expectSeenRing(settings, rememberAll([0.42, 0.45, 0.44, 0.43, 0.46, 0.44, 0.42, 0.46]));
    expect(steady.meanM).toBeCloseTo(0.45, 1);
    expect(steady.standardDeviationM).toBeLessThan(0.12);
    const shared = expectSeenRing(settings, rememberAll([0.5, 1, 0.6, 0.95, 0.55, 1.05, 0.7, 0.85]));
    expect(shared.standardDeviationM).toBeGreaterThan(0.17);
  });

  it('learns only from what a contact told, and told well', () => {
    const memory = rememberAll([0.8]);
    expect(rememberRing(memory, null)).toBe(memory);
    expect(rememberRing(memory, { ...seen(0.4), byContact: false })).toBe(memory);
    expect(rememberRing(memory, { ...seen(0.4), standardDeviationM: 0.2 })).toBe(memory);
    // Mean and squares are those of the numbers themselves.
    const three = rememberAll([0.8, 0.9, 1]);
    expect(three.count).toBe(3);
    expect(three.meanM).toBeCloseTo(0.9, 12);
    expect(three.squaresM2).toBeCloseTo(0.02, 12);
  });
});

describe("the ring's height by what the ball met", () => {
  const impact: Impact = {
    impulseMps: [-0.9, 0, 1.2],
    hardnessMps: 1.5,
    peakMps2: 80,
    riseS: 0.015,
    durationS: 0.045,
    clipped: false,
    hard: false,
    freeAgain: true,
    borne: false,
    fallsOn: true,
    rebound: null,
    swung: false,
    tossed: false,
    hidden: false,
    reading: null,
  };
  const expected = expectRing(settings);
  const at = (heightM: number, doubtM = 0) => ({ heightM, doubtM });
  const iron = (heights: readonly { ringM: number; weight: number }[], ring: number): Impact => ({
    ...impact,
    clipped: true,
    reading: {
      ring,
      board: 1 - ring,
      heights,
      hardness: { meanMps: 8, standardDeviationMps: 0.5 },
      floor: null,
    },
  });

  it('lies a little above where a net began to bear the ball, and anywhere where it pushed it back', () => {
    const height = ringAboveRelease('net', impact, at(0.8), expected);
    expect(height?.meanM).toBeGreaterThan(0.82);
    expect(height?.meanM).toBeLessThan(0.9);
    expect(height?.standardDeviationM).toBeLessThan(0.06);
    const beside: Impact = { ...impact, impulseMps: [-1.4, 0, 0.3] };
    const grazed: Impact = { ...impact, impulseMps: [-0.1, 0, 0.25], hardnessMps: 0.27 };
    expect(ringAboveRelease('net', grazed, at(0.5), expected)).toBeNull();
    expect(ringAboveRelease('net', beside, at(0.8), expected)).toBeNull();
    // A lost packet hid a part of the force: the ball's motion tells.
    const rebound = { impulseMps: [-0.9, 0, 1.2], standardDeviationMps: 0.2, push: null, pushErrorRad: 1 } as const;
    expect(ringAboveRelease('net', { ...beside, rebound }, at(0.8), expected)).not.toBeNull();
    expect(ringAboveRelease('net', impact, at(2.1), expected)).toBeNull();
  });

  it('is a mixture of ring and board with an interval of its own, and none where it may be anywhere', () => {
    const sure = ringAboveRelease('ring', iron([{ ringM: 0.9, weight: 1 }], 1), at(1), expected);
    expect(sure).toMatchObject({ meanM: 0.9, byContact: true, interval90M: null });
    // Seven milliseconds of a gap at 5 m/s are 3.5 cm.
    const hidden = ringAboveRelease('ring', iron([{ ringM: 0.9, weight: 1 }], 1), at(1, 0.035), expected);
    expect(hidden?.standardDeviationM).toBeGreaterThan(0.035);
    const doubtful = iron(
      [
        { ringM: 0.95, weight: 0.9 },
        { ringM: 0.6, weight: 0.1 },
      ],
      0.9,
    );
    const mixed = ringAboveRelease('ring', doubtful, at(1), expected);
    expect(mixed?.meanM).toBeCloseTo(0.915, 9);
    expect(mixed?.interval90M?.[0]).toBeLessThan(0.6);
    expect(mixed?.interval90M?.[1]).toBeGreaterThan(0.95);
    const board = iron(
      [0.5, 0.6, 0.7, 0.8].map((ringM) => ({ ringM, weight: 0.25 })),
      0.1,
    );
    expect(ringAboveRelease('board', board, at(1), expected)).toBeNull();
    expect(ringAboveRelease('floor', impact, at(-2), expected)).toBeNull();
    expect(ringAboveRelease('ring', impact, at(1), expected)).toBeNull();
  });
});
