import { describe, expect, it } from 'vitest';
import { aeroPreset, ballPresets } from '../../../src/flight/ball-presets.ts';
import type { ImuBlock } from '../../../src/foundation/imu-block.ts';
import { atOnce } from '../../../src/foundation/resting-work.ts';
import { type FlightContext, judgeRun, type StudiedFlight, studyRun } from '../../../src/shots/ball/ball-shot.ts';
import { initialCalibration } from '../../../src/shots/ball/calibration.ts';
import { initialQuietRunState, type QuietRun, stepQuietRun } from '../../../src/shots/ball/quiet-runs.ts';
import { defaultBallSettings, type Shot } from '../../../src/shots/shot.ts';
import { simulatePractice } from '../../../src/simulate/practice.ts';
import { scenarioPractice } from '../../../src/simulate/scenarios.ts';

const rateHz = 200;
const { block, traits, truth } = simulatePractice(scenarioPractice('pull-up-ring-miss'));
const told = { ...defaultBallSettings, distanceM: 5.5, releaseHeightM: 2.1 };

function until(samples: number): ImuBlock {
  return {
    length: samples,
    timeS: block.timeS.subarray(0, samples),
    accelMps2: block.accelMps2.subarray(0, 3 * samples),
    gyroRadps: block.gyroRadps?.subarray(0, 3 * samples) ?? null,
    flags: block.flags.subarray(0, samples),
  };
}

/** The context of the practice's shot, with so many seconds of samples after it. */
function contextOf(afterS: number): FlightContext {
  const runs: QuietRun[] = [];
  const state = initialQuietRunState();
  for (let i = 0; i < block.length; i++) {
    const run = stepQuietRun(state, block, i, i, 2);
    if (run && run.end - run.start > 0.05 * rateHz) runs.push(run);
  }
  const middleS = ((truth.shots[0]?.releaseS as number) + (truth.shots[0]?.contactS as number)) / 2;
  const at = runs.findIndex(
    ({ start, end }) => (block.timeS[start] as number) < middleS && (block.timeS[end - 1] as number) > middleS,
  );
  const run = runs[at] as QuietRun;
  const ball = ballPresets[7];
  return {
    block: until(run.end + Math.round(afterS * rateHz)),
    stepS: 1 / rateHz,
    filterDelayS: traits.filterDelayS,
    ball,
    aero: aeroPreset(ball),
    settings: told,
    calibration: initialCalibration(),
    before: runs.slice(0, at),
    run,
    stage: 'final',
  };
}

function shotOf(studied: StudiedFlight): Shot {
  const outcome = judgeRun(studied, contextOf(0.3).block, 3);
  if (outcome.kind !== 'shot') throw new Error(`expected a shot, got ${outcome.rejected.reason}`);
  return outcome.shot;
}

describe('a flight that was studied soon after its end', () => {
  const studied = atOnce(studyRun(contextOf(0.12))) as StudiedFlight;
  const shot = shotOf(studied);

  it('is judged by all that came since', () => {
    expect(shot).toMatchObject({ index: 3, stage: 'final', contactKind: 'ring' });
    expect(Math.abs((shot.releaseS as number) - (truth.shots[0]?.releaseS as number))).toBeLessThan(0.01);
    // Half a metre a second is what the ring gives the ball within a hundredth: only to say that the touch was read.
    expect(shot.measures.contactHardnessMps.value).toBeGreaterThan(0.5);
    expect(studied.way).not.toBeNull();
  });

  it('is told the same when its dearer numbers are only worked out then', () => {
    expect(shotOf({ ...studied, way: null })).toEqual(shot);
  });

  it('is studied anew with all samples where it led elsewhere than it seemed', () => {
    const again = shotOf({ ...studied, ledToRing: !studied.ledToRing });
    expect(again).toEqual(shotOf(atOnce(studyRun(contextOf(0.3))) as StudiedFlight));
  });

  it('hands on what the flight told of ball and sensor, and nothing of what the way before it told besides', () => {
    const { joint } = studied;
    const elsewhere = { mean: joint.mean.map((value) => value + 0.3), covariance: joint.covariance.clone().mul(0.1) };
    const { block } = contextOf(0.3);
    const taught = judgeRun(studied, block, 0).calibration;
    expect(taught.flights).toBe(1);
    expect(judgeRun({ ...studied, joint: elsewhere }, block, 0).calibration).toEqual(taught);
  });

  it('has the instants that a study with more samples finds', () => {
    const later = shotOf(atOnce(studyRun(contextOf(0.3))) as StudiedFlight);
    expect(later.releaseS).toBe(shot.releaseS);
    expect(later.contactS).toBe(shot.contactS);
  });
});
