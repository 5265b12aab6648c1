import { describe, expect, it } from 'vitest';
import { aeroPreset, ballPresets } from '../../../src/flight/ball-presets.ts';
import { atOnce } from '../../../src/foundation/resting-work.ts';
import { type StudiedFlight, studyRun } from '../../../src/shots/ball/ball-shot.ts';
import { initialCalibration } from '../../../src/shots/ball/calibration.ts';
import { initialQuietRunState, type QuietRun, stepQuietRun } from '../../../src/shots/ball/quiet-runs.ts';
import { jointCount, jointPrior, type Solution, sharpen, solve } from '../../../src/shots/ball/shot-solution.ts';
import { defaultBallSettings } from '../../../src/shots/shot.ts';
import { simulatePractice } from '../../../src/simulate/practice.ts';
import { scenarioPractice } from '../../../src/simulate/scenarios.ts';

const { block, traits, truth } = simulatePractice(scenarioPractice('pull-up-ring-miss'));

function studied(): StudiedFlight {
  const runs: QuietRun[] = [];
  const state = initialQuietRunState();
  for (let i = 0; i < block.length; i++) {
    const run = stepQuietRun(state, block, i, i, 2);
    if (run && run.end - run.start > 10) runs.push(run);
  }
  const middleS = ((truth.shots[0]?.releaseS as number) + (truth.shots[0]?.contactS as number)) / 2;
  const at = runs.findIndex(
    ({ start, end }) => (block.timeS[start] as number) < middleS && (block.timeS[end - 1] as number) > middleS,
  );
  const ball = ballPresets[7];
  return atOnce(
    studyRun({
      block,
      stepS: 1 / 200,
      filterDelayS: traits.filterDelayS,
      ball,
      aero: aeroPreset(ball),
      settings: defaultBallSettings,
      calibration: initialCalibration(),
      before: runs.slice(0, at),
      run: runs[at] as QuietRun,
      stage: 'final',
    }),
  ) as StudiedFlight;
}

const { study, task } = studied();
const prior = jointPrior(study);
const first = solve(task, prior.mean);
const rise = (solution: Solution) => solution.launch.velocityMps[2];

/** One sigma of the speed upward at release, by the prior. */
function riseDoubt(): number {
  const slope = prior.mean.map((mean, p) => {
    const h = 0.1 * Math.sqrt(prior.covariance.get(p, p));
    return (rise(solve(task, prior.mean.with(p, mean + h))) - rise(first)) / h;
  });
  let variance = 0;
  for (let p = 0; p < jointCount; p++)
    for (let q = 0; q < jointCount; q++)
      variance += (slope[p] as number) * (slope[q] as number) * prior.covariance.get(p, q);
  return Math.sqrt(variance);
}

describe('knowledge of the way before release', () => {
  const doubt = riseDoubt();
  /** Told that the ball left so many standard deviations faster upward. */
  const told = (sigmas: number, sure: boolean) =>
    atOnce(
      sharpen(task, prior, first, {
        rows: (solution) => [
          { value: rise(solution) - rise(first) - sigmas * doubt, standardDeviation: 0.1 * doubt, sure },
        ],
        stretches: [{ start: task.from - 3, end: task.from - 1 }],
      }),
    );
  const velocityVariance = (joint: { covariance: typeof prior.covariance }) =>
    [0, 1, 2].reduce((sum, axis) => sum + joint.covariance.get(axis, axis), 0);

  it('is taken in where the flight allows for it', () => {
    const { joint, solution } = told(1.5, false);
    expect((rise(solution) - rise(first)) / doubt).toBeCloseTo(1.5, 1);
    expect(velocityVariance(joint)).toBeLessThan(velocityVariance(prior));
  });

  it('is not believed where it may rest on a flight that was none', () => {
    const { joint, solution } = told(12, false);
    expect(solution).toBe(first);
    expect(joint).toBe(prior);
  });

  it('makes a flight that contradicts what is sure less sure of itself, and then moves it', () => {
    const { joint, solution } = told(12, true);
    expect((rise(solution) - rise(first)) / doubt).toBeGreaterThan(10);
    // What is not told of the flight is known less well by the factor between 12 and 2.5.
    expect(velocityVariance(joint)).toBeGreaterThan(4 * velocityVariance(prior));
  });

  it('only loosens a flight that contradicts it beyond reason', () => {
    const { joint, solution } = told(60, true);
    expect(solution).toBe(first);
    expect(velocityVariance(joint)).toBeGreaterThan(10 * velocityVariance(prior));
  });
});
