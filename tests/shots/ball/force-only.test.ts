import { describe, expect, it } from 'vitest';
import type { ImuBlock } from '../../../src/foundation/imu-block.ts';
import { BallTracker } from '../../../src/shots/ball/ball-tracker.ts';
import { defaultBallSettings, type ShotEvent } from '../../../src/shots/shot.ts';

const rateHz = 200;
const g = 9.80665;

/** Stretches of force as [length in s, force in g as a function of the share of the stretch], with slight noise. */
type Stretch = readonly [seconds: number, forceG: (share: number) => number];

const held: Stretch = [1.5, () => 1];
const free = (seconds: number): Stretch => [seconds, () => 0.05];
const push: Stretch = [0.35, (share) => 1 + 2.5 * Math.sin(Math.PI * Math.min(1, 1.1 * share)) ** 2];
const bounce: Stretch = [0.02, (share) => 30 * Math.sin(Math.PI * share)];
const inNet: Stretch = [0.13, (share) => 10 * (1 - share)];

function track(...stretches: readonly Stretch[]): { shots: ShotEvent[]; rejected: string[] } {
  const force: number[] = [];
  for (const [seconds, forceG] of stretches) {
    const n = Math.round(seconds * rateHz);
    for (let i = 0; i < n; i++) force.push(forceG((i + 0.5) / n));
  }
  let seed = 11;
  const noise = () => {
    seed = (seed * 16807) % 2147483647;
    return 0.08 * (seed / 2147483647 - 0.5);
  };
  const block: ImuBlock = {
    length: force.length,
    timeS: Float64Array.from(force, (_, i) => i / rateHz),
    accelMps2: Float64Array.from(force.flatMap((f) => [noise(), noise(), f * g + noise()])),
    gyroRadps: null,
    flags: new Uint8Array(force.length),
  };
  const traits = { nominalRateHz: rateHz, accelRangeMps2: null, gyroRangeRadps: null, filterDelayS: 0 };
  const tracker = new BallTracker(traits, defaultBallSettings);
  const events = [...tracker.push(block), ...tracker.finish()];
  return {
    shots: events.filter((event) => event.kind === 'shot'),
    rejected: events.flatMap((event) => (event.kind === 'rejected' ? [event.rejected.reason] : [])),
  };
}

describe('without a gyroscope', () => {
  it('a push by hands and a long flight are a shot; the bounces after it are not', () => {
    const { shots, rejected } = track(held, push, free(1), bounce, free(0.9), bounce, free(0.7), bounce, held);
    expect(shots).toHaveLength(1);
    expect(rejected).toHaveLength(2);
    for (const reason of rejected) expect(reason).toContain('a bounce or a tip');
    const shot = shots[0];
    if (shot?.kind !== 'shot') throw new Error('no shot');
    expect(shot.shot.releaseS).toBeCloseTo(1.85, 2);
    expect(shot.shot.measures.flightS.value).toBeCloseTo(1, 1);
    expect(shot.shot.measures.launchSpeedMps).toEqual({ value: null, reason: 'no-gyro' });
  });

  it.each([
    ['a drop out of still hands', [held, free(0.8), bounce, held], 'without a push'],
    ['a fall out of a net', [held, push, free(0.45), inNet, free(0.6), bounce, held], 'a bounce or a tip'],
    ['a throw too short for a ring', [held, push, free(0.45), held], 'takes 0.55 s or more'],
    ['a flight at the start of the recording', [free(0.9), bounce, held], 'no sign of a throw'],
  ] as const)('%s is no shot', (_, stretches, why) => {
    const { shots, rejected } = track(...stretches);
    expect(shots).toEqual([]);
    expect(rejected.join('; ')).toContain(why);
  });
});
