/**
 * Published numbers that must not be believed, and what the project says to them.
 * SOURCE: beside each check. MADE BY: the authors named. LICENCE: facts.
 * TOLERANCE: half a unit of the last digit given; speeds 2 mm/s, since g is 9.80665 here and 9.81 there.
 */
import { describe, expect, it } from 'vitest';
import { leastCleanEntryRad, plausibility } from '../../src/coaching/plausibility.ts';
import { watchParams } from '../../src/coaching/watch-params.ts';
import { type ArcAero, leastSpeedMps } from '../../src/flight/arc.ts';
import { usualFloor } from '../../src/simulate/court.ts';

const vacuum: ArcAero = {
  dragPerM: 0,
  dragSlope: 0,
  dragBend: 0,
  liftSlope: 0,
  liftPerRad: 0,
  buoyancyMps2: 0,
  spinRadps: [0, 0, 0],
};

describe('release speeds below the least that reaches the ring (Okazaki and Rodacki 2012, abstract)', () => {
  it.each([
    [2.8, 2.46, 4.39, 5.82],
    [4.6, 2.38, 5.75, 7.22],
    [6.4, 2.33, 6.89, 8.38],
  ])('%f m from %f m: %f m/s cannot be', (distanceM, releaseM, publishedMps, leastMps) => {
    const least = leastSpeedMps(distanceM, 3.05 - releaseM, vacuum, 0) as number;
    expect(Math.abs(least - leastMps)).toBeLessThan(0.007);
    expect(publishedMps).toBeLessThan(least);
    // The tool: such a margin is impossible whatever error of a tenth of a metre per second it comes with.
    expect(plausibility('speedMarginMps', publishedMps - least, 0.1)).toBe('impossible');
  });
});

describe('entry angles of 30 to 34° (youth, Vencurik 2021)', () => {
  it('are unusual, and at their lower end no clean pass', () => {
    expect(plausibility('entryAngleDeg', 30, 0.5)).toBe('unusual');
    expect(plausibility('entryAngleDeg', 34 - 1, 0.5)).toBe('unusual');
    expect((leastCleanEntryRad(0.2426, 0.4572) * 180) / Math.PI).toBeGreaterThan(32);
    for (const deg of [35, 43, 50]) expect(plausibility('entryAngleDeg', deg, 0.5)).toBe('fine');
  });
});

describe('rebound of a ball: drop to its bottom, rebound to its top', () => {
  // Restitution = sqrt((height of the top after - diameter) / height of the drop). Rule heights: older FIBA rule 1.8 m and
  // 1.2 to 1.4 m; NCAA 72 in and 49 to 54 in, diameter 9.55 in.
  const restitution = (topM: number, diameterM: number, dropM: number) => Math.sqrt((topM - diameterM) / dropM);

  it("the simulator's floor lies where the rules put it, not where a forgotten diameter would", () => {
    const rules = [restitution(49, 9.55, 72), restitution(54, 9.55, 72)] as const;
    expect(rules[0]).toBeCloseTo(0.74, 3);
    expect(rules[1]).toBeCloseTo(0.786, 3);
    expect(usualFloor.restitution).toBeGreaterThan(rules[0]);
    expect(usualFloor.restitution).toBeLessThan(rules[1]);
    expect(usualFloor.restitution).toBeLessThan(restitution(49, 0, 72));
  });
});

describe('a problem without a solution: 7.15 m/s from 4.57 m, 2.44 m up to 3.05 m (web forum of physics, thread 528314)', () => {
  it('needs 7.156 m/s at least', () => {
    const least = leastSpeedMps(4.57, 3.05 - 2.44, vacuum, 0) as number;
    expect(Math.abs(least - 7.156)).toBeLessThan(0.003);
    expect(7.15).toBeLessThan(least);
  });
});

describe('launch speed read off a smoothed track of the ball (SPL Open Data, free throws, 30 Hz: about 5 m/s at most)', () => {
  it('cannot be, wherever a man of 1.91 m lets go; the entry angles of the same data are fine', () => {
    for (const releaseM of [2, 2.2, 2.4, 2.6]) {
      const least = leastSpeedMps(4.19, 3.05 - releaseM, vacuum, 0) as number;
      expect(least).toBeGreaterThan(6.4);
      expect(plausibility('speedMarginMps', 5 - least, 0.1)).toBe('impossible');
    }
    // Entry 43.86 ± 1.79° in 125 free throws.
    for (const deg of [43.86 - 2 * 1.79, 43.86, 43.86 + 2 * 1.79]) {
      expect(plausibility('entryAngleDeg', deg, 0.5)).toBe('fine');
    }
  });
});

describe('the straight part of a three-point line told as 16 ft 9 in (web pages)', () => {
  // Lines: 23 ft 9 in about the ring, 22 ft beside it; the ring's centre 5 ft 3 in from the baseline.
  const [arcFt, besideFt, ringFt] = [23.75, 22, 5.25];
  const metre = 0.3048;

  it('is 14.198 ft by geometry; at 16 ft 9 in the line would stand more than a foot outside its own arc', () => {
    const straightFt = ringFt + Math.sqrt(arcFt ** 2 - besideFt ** 2);
    expect(straightFt).toBeCloseTo(14.198, 3);
    expect(Math.hypot(besideFt, 16.75 - ringFt)).toBeGreaterThan(arcFt + 1);
  });

  it('shots from every such line count as far, the corner and the shortest line of 6.02 m among them', () => {
    for (const lineM of [arcFt * metre, besideFt * metre, 6.75, 6.6, 6.02]) {
      expect(lineM).toBeGreaterThanOrEqual(watchParams.farFromM.default);
    }
  });
});
