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

/** How late the two ends are told, s, when they are read through a filter of which nobody told. */
function lateEnds(delayS: number, rateHz: number, fadeS: number): { releaseS: number; contactS: number } {
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
  return { releaseS: release.timeS - 0.3 + (0.5 / 60) * fadeS, contactS: contact.timeS - 1.3 };
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
      snapPeakDegps: notMeasured('not-observable-from-ball'),
    },
  } as unknown as Shot;
}

describe('a shot on the clock of its recording', () => {
  it('keeps every measure where the delay of the filter is known', () => {
    const told = shotInRecordingTime(shot(), { originS: 100, sharedErrorS: 0 });
    expect(told.measures).toEqual(shot().measures);
    expect(told.releaseS).toBe(102);
  });

  it.each([100, 200, 833])('holds in its errors what such a filter does to the ends of a flight at %i Hz', (rateHz) => {
    const told = shotInRecordingTime(shot(), { originS: 0, sharedErrorS: 0.87 / rateHz });
    const { flightS } = told.measures;
    if (flightS.value === null || !flightS.interval90) throw new Error('expected a flight with an interval');
    const [low, high] = flightS.interval90;
    const release90S = 1.645 * (told.timeErrorsS.release ?? 0);
    const all: number[] = [];
    for (const samples of [0.45, 0.9, 1.1]) {
      for (const fadeS of [0.006, 0.01, 0.02, 0.04]) {
        const late = lateEnds(samples / rateHz, rateHz, fadeS);
        const flightShort = late.releaseS - late.contactS;
        all.push(flightShort > low - 1 && flightShort < high - 1 && late.releaseS < release90S ? 1 : 0);
      }
    }
    // Of 12 filters and hands all but one or two; nor is it told far larger than it is.
    expect(all.reduce((sum, inside) => sum + inside, 0)).toBeGreaterThanOrEqual(10);
    const typical = lateEnds(1.1 / rateHz, rateHz, 0.01).releaseS;
    expect(release90S).toBeLessThan(2.5 * Math.max(typical, 0.001));
    expect(flightS.value).toBe(1);
    // Nothing ends sooner than it seems to.
    expect(high - 1).toBeGreaterThan(1.3 * (1 - low));
  });

  it('leaves the release of an arm, read off the motion, with the delay alone', () => {
    const arm = { ...shot(), measures: { ...shot().measures, snapPeakDegps: measured(900, 20) } };
    const told = shotInRecordingTime(arm, { originS: 0, sharedErrorS: 0.004 });
    expect(told.timeErrorsS.release).toBeCloseTo(Math.hypot(0.001, 0.004), 9);
  });

  it('widens an interval on both sides, leaves nulls and what the release does not move', () => {
    const told = shotInRecordingTime(shot(), { originS: 0, sharedErrorS: 0.004 }).measures;
    expect(told.liftToReleaseS).toEqual(notMeasured('gap'));
    expect(told.spinRps).toEqual(measured(2, 0.01));
    const [low, high] = told.pickupToReleaseS.value === null ? [0, 0] : (told.pickupToReleaseS.interval90 ?? [0, 0]);
    // A release told late makes that time seem long: most of what is added lies below.
    expect(low).toBeLessThan(0.99);
    expect(high).toBeGreaterThan(1.005);
    expect(1 - low).toBeGreaterThan(high - 1);
  });
});
