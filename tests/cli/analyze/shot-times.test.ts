import { describe, expect, it } from 'vitest';
import { shotInRecordingTime } from '../../../src/cli/analyze/shot-times.ts';
import { measured, notMeasured } from '../../../src/foundation/measured.ts';
import { locateEdge } from '../../../src/shots/ball/edges.ts';
import type { Shot } from '../../../src/shots/shot.ts';

/** Force of a hand that lets go at 0.3 s within `fadeS`, and of a blow 1 s later, m/s². */
function pushes(t: number, fadeS: number): number {
  if (t < 0.3) return Math.min(60, ((0.3 - t) / fadeS) * 60);
  return t > 1.3 && t < 1.308 ? 250 * Math.sin((Math.PI * (t - 1.3)) / 0.008) : 0;
}

/** How much the time between the two ends grows, s, when they are read through a filter of which nobody told. */
function shortened(delayS: number, rateHz: number, fadeS: number): number {
  const count = Math.floor(1.5 * rateHz);
  const timeS = Float64Array.from({ length: count }, (_, k) => (k + 0.4) / rateHz);
  const forceMps2 = new Float64Array(count);
  // Second-order Butterworth low-pass of this group delay, as an equation of motion.
  const w = Math.SQRT2 / delayS;
  const stepS = 1e-5;
  let [y, v, t] = [60, 0, 0];
  for (let k = 0; k < count; k++) {
    for (; t < (timeS[k] as number); t += stepS) {
      v += stepS * (w * w * (pushes(t, fadeS) - y) - Math.SQRT2 * w * v);
      y += stepS * v;
    }
    forceMps2[k] = Math.abs(y);
  }
  const flags = new Uint8Array(count);
  const series = { timeS, forceMps2, flags, noiseMps2: 0.05, stepS: 1 / rateHz, filterDelayS: 0 };
  const middle = Math.floor(0.8 * rateHz);
  const [release, contact] = [locateEdge(series, middle, -1), locateEdge(series, middle, 1)];
  if (release?.timeS == null || contact?.timeS == null) throw new Error('no edges');
  return 1 + (0.5 / 60) * fadeS - (contact.timeS - release.timeS);
}

function shot(): Shot {
  return {
    startKind: 'dribble',
    pickupS: 1,
    liftS: 1.2,
    releaseS: 2,
    contactS: 3,
    timeErrorsS: { pickup: 0.001, lift: 0.001, release: 0.001, contact: 0.001 },
    measures: {
      flightS: measured(1, 0.001),
      pickupToReleaseS: measured(1, 0.001, { interval90: [0.999, 1.004] }),
      liftToReleaseS: notMeasured('gap'),
      launchSpeedMps: measured(7, 0.03),
      launchAngleDeg: measured(50, 0.3),
      apexM: measured(1.4, 0.02),
      spinRps: measured(2, 0.01),
    },
  } as unknown as Shot;
}

describe('a shot on the clock of its recording', () => {
  it('keeps every measure where the delay of the filter is known', () => {
    const told = shotInRecordingTime(shot(), { originS: 100, sharedErrorS: 0 });
    expect(told.measures).toEqual(shot().measures);
    expect(told.releaseS).toBe(102);
  });

  it.each([100, 200, 833])(
    'holds in the error of the flight what such a filter does to its ends at %i Hz',
    (rateHz) => {
      const delayS = 0.87 / rateHz;
      const shiftsS = [0.01, 0.02, 0.04].map((fadeS) => shortened(delayS, rateHz, fadeS));
      const { flightS } = shotInRecordingTime(shot(), { originS: 0, sharedErrorS: delayS }).measures;
      expect(flightS.value).toBe(1);
      const error = flightS.value === null ? 0 : flightS.standardError;
      for (const shiftS of shiftsS) expect(Math.abs(shiftS)).toBeLessThan(1.645 * error);
      // Nor is it told far larger than it is.
      expect(Math.max(...shiftsS)).toBeGreaterThan(0.4 * Math.hypot(error, 0.001) - 0.001);
    },
  );

  it('widens an interval on both sides, leaves nulls and what the release does not move', () => {
    const told = shotInRecordingTime(shot(), { originS: 0, sharedErrorS: 0.004 }).measures;
    expect(told.liftToReleaseS).toEqual(notMeasured('gap'));
    expect(told.spinRps).toEqual(measured(2, 0.01));
    const [low, high] = told.pickupToReleaseS.value === null ? [0, 0] : (told.pickupToReleaseS.interval90 ?? [0, 0]);
    expect(low).toBeLessThan(0.9945);
    expect(high).toBeGreaterThan(1.0065);
    expect(high - 1).toBeGreaterThan(1 - low);
  });
});
