import { describe, expect, it } from 'vitest';
import type { ImuBlock } from '../../../src/foundation/imu-block.ts';
import {
  initialQuietRunState,
  type QuietRun,
  quietRunParameters,
  roughness,
  stepQuietRun,
} from '../../../src/shots/ball/quiet-runs.ts';
import { normalSource } from '../../helpers/thrown-ball.ts';

const rateHz = 200;
/** Samples in the baseline of 8 ms at 200 Hz. */
const back = 2;

/** Held still, in flight with a spin about y seen from `offsetM` along x, held again; with the noise of a usual sensor. */
function thrown(flight: { from: number; to: number; length: number; spinRadps: number; offsetM: number }): ImuBlock {
  const { from, to, length, spinRadps, offsetM } = flight;
  const normal = normalSource(4);
  const block = {
    length,
    timeS: Float64Array.from({ length }, (_, i) => i / rateHz),
    accelMps2: new Float64Array(3 * length),
    gyroRadps: new Float64Array(3 * length),
    flags: new Uint8Array(length),
  };
  for (let i = 0; i < length; i++) {
    const free = i >= from && i < to;
    // Drag of 1 m/s² turns with the ball.
    const angle = (spinRadps * i) / rateHz;
    const force = free ? [-(spinRadps ** 2) * offsetM + Math.cos(angle), 0, Math.sin(angle)] : [0, 0, 9.80665];
    for (let axis = 0; axis < 3; axis++) {
      block.accelMps2[3 * i + axis] = (force[axis] as number) + 0.03 * normal();
      block.gyroRadps[3 * i + axis] = (free && axis === 1 ? spinRadps : 0) + 0.0012 * normal();
    }
  }
  return block;
}

function runsOf(block: ImuBlock): QuietRun[] {
  const state = initialQuietRunState();
  const runs: QuietRun[] = [];
  for (let i = 0; i < block.length; i++) {
    const run = stepQuietRun(state, block, i, i, back);
    if (run) runs.push(run);
  }
  return runs;
}

const usual = { from: 100, to: 280, length: 400, spinRadps: 12, offsetM: 0.015 };

describe('quiet runs', () => {
  it.each([
    ['a usual throw', {}],
    ['a throw without spin', { spinRadps: 0 }],
    ['a fast spin about a sensor at the wall', { spinRadps: 25, offsetM: 0.11 }],
  ])('hold the whole flight of %s and nothing of the hands', (_, change) => {
    const runs = runsOf(thrown({ ...usual, ...change }));
    expect(runs).toHaveLength(1);
    // The first samples are compared with ones before the flight: a baseline and no more is lost.
    expect(runs[0]?.start).toBeGreaterThanOrEqual(100);
    expect(runs[0]?.start).toBeLessThanOrEqual(100 + back);
    expect(runs[0]?.end).toBe(280);
  });

  it('forgive one slightly rough sample in flight, but neither a hard one nor a push of several', () => {
    const strayBy = (forceMps2: number): ImuBlock => {
      const block = thrown(usual);
      block.accelMps2[3 * 180 + 1] = forceMps2;
      return block;
    };
    // A change of 2.5 m/s² in 10 ms is about twice what noise and turning drag allow here (1.3 m/s²).
    expect(roughness(strayBy(2.5), 180, back)).toBeGreaterThan(1);
    expect(runsOf(strayBy(2.5)).map(({ end }) => end)).toEqual([280]);
    expect(runsOf(strayBy(20))[0]?.end).toBe(180);
    const pushed = thrown(usual);
    pushed.accelMps2.fill(20, 3 * 180, 3 * 190);
    const runs = runsOf(pushed);
    expect(runs[0]?.end).toBe(180);
    expect(runs[runs.length - 1]?.end).toBe(280);
    expect(runs[runs.length - 1]?.start).toBeGreaterThanOrEqual(190);
  });

  it('bridge a short gap and end at a long one', () => {
    const gap = (seconds: number): ImuBlock => {
      const block = thrown(usual);
      for (let i = 180; i < block.length; i++) block.timeS[i] = (block.timeS[i] as number) + seconds;
      block.flags[180] = 4;
      return block;
    };
    expect(runsOf(gap(quietRunParameters.longestGapS - 0.02))).toHaveLength(1);
    const runs = runsOf(gap(quietRunParameters.longestGapS + 0.02));
    expect(runs.map(({ start, end }) => [start >= 180, end])).toEqual([
      [false, 180],
      [true, 280],
    ]);
  });

  it('say nothing of a ball that is still in flight at the end', () => {
    expect(runsOf(thrown({ ...usual, to: 400 }))).toEqual([]);
  });

  it('work without a gyroscope', () => {
    const runs = runsOf({ ...thrown(usual), gyroRadps: null });
    expect(runs).toHaveLength(1);
    expect(runs[0]?.start).toBeGreaterThanOrEqual(100);
    expect(runs[0]?.start).toBeLessThanOrEqual(100 + back);
    expect(runs[0]?.end).toBe(280);
  });
});

describe('roughness', () => {
  const still = thrown({ ...usual, from: 0, to: 0 });

  it('of a held ball is its weight over what drag and bias can give', () => {
    // 9.80665 over 4.5 m/s² is 2.18; a noise of 0.03 m/s² moves it by less than 0.03.
    expect(Math.abs(roughness(still, 50, back) - 9.80665 / quietRunParameters.forceMps2)).toBeLessThan(0.03);
  });

  it('of a flight is below 1 at every sample', () => {
    const block = thrown(usual);
    for (let i = 100 + back; i < 280; i++) expect(roughness(block, i, back)).toBeLessThan(1);
  });

  it('rises with a rate that changes though no force is felt', () => {
    const turned = thrown(usual);
    // 30 rad/s² about z: more than an unbalanced ball (12 + 0.06 · 12² = 20.6 rad/s²) can show.
    for (let i = 150; i < 280; i++)
      (turned.gyroRadps as Float64Array)[3 * i + 2] =
        (turned.gyroRadps as Float64Array)[3 * i + 2]! + 30 * ((i - 150) / 200);
    expect(roughness(turned, 200, back)).toBeGreaterThan(1);
  });
});
