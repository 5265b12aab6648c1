/**
 * SOURCE: BROAD, trial 07 (undisturbed fast rotation), Laidig, Caruso, Cereatti and Seel 2021, Data 6(7):72 (CC BY 4.0).
 * MADE BY: others, inertial sensor at 285.714 Hz with an optical attitude.
 * LICENCE: not part of the project; read by path.
 * TOLERANCE: inclination 4°: the best published filter has a mean error of 2.9° over all trials of the set, others 5° to
 * 17° (Laidig and Seel 2023, Information Fusion 91:187); this is one fast trial of it. The stated errors must not be
 * smaller than the real ones: mean squared error over stated at most 1.
 */
import { describe, expect, it } from 'vitest';
import { smoothAttitude } from '../../src/signal/attitude-smoothing.ts';
import { estimateAttitude } from '../../src/signal/attitude-track.ts';
import { readBroadTrial, scoreBroad } from '../helpers/broad-trial.ts';
import { hasOpenData } from '../helpers/open-data.ts';

describe.skipIf(!hasOpenData('broad'))('attitude against cameras', () => {
  it.each([
    ['sample by sample', estimateAttitude],
    ['over the finished recording', smoothAttitude],
  ] as const)('%s: inclination below 4°, no worse than stated', (_, attitude) => {
    const trial = readBroadTrial();
    const track = attitude(trial.block);
    const score = scoreBroad(trial, track);
    expect(score.inclinationDeg).toBeLessThan(4);
    expect(score.inclinationZ2).toBeLessThan(1);
    expect(score.headingZ2).toBeLessThan(1);
    expect(Math.hypot(score.headingDeg, score.inclinationDeg)).toBeCloseTo(score.totalDeg, 1);
  });
});
