/**
 * SOURCE: falling and thrown phones, Saliby, arXiv 2410.14172 (CC0); spinning throw of a disc, flight logs of
 * misc-protolabs/flatball-ins (CC BY).
 * MADE BY: others, with a phone at 198.6 Hz and an inertial sensor at 100 Hz.
 * LICENCE: not part of the project; read by path.
 * TOLERANCE: flight times as the data's description states them, 0.62–0.66 s for drops and 0.82–0.97 s for throws, plus
 * one sample (5 ms) at each end, so two on a duration. Spin: 2 %, half of which is the stated radius of 20.5 mm (± 0.2 mm), the rest the gyro's 1 % scale.
 */
import { readdirSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import type { ImuBlock } from '../../src/foundation/imu-block.ts';
import { BallTracker } from '../../src/shots/ball/ball-tracker.ts';
import { defaultBallSettings, type ShotEvent } from '../../src/shots/shot.ts';
import { hasOpenData, openDataDir, readOpenCsv } from '../helpers/open-data.ts';

function track(block: ImuBlock): ShotEvent[] {
  const span = (block.timeS[block.length - 1] as number) - (block.timeS[0] as number);
  const traits = {
    nominalRateHz: (block.length - 1) / span,
    accelRangeMps2: null,
    gyroRangeRadps: null,
    filterDelayS: 0,
  };
  const tracker = new BallTracker(traits, defaultBallSettings);
  return [...tracker.push(block), ...tracker.finish()];
}

/** Free flights of at least 0.5 s as [start, end], shots or not. */
function longFlights(events: readonly ShotEvent[]): [number, number][] {
  const flights: [number, number][] = [];
  for (const event of events) {
    if (event.kind === 'rejected') flights.push([event.rejected.startS, event.rejected.endS]);
    else if (event.shot.releaseS !== null && event.shot.contactS !== null)
      flights.push([event.shot.releaseS, event.shot.contactS]);
  }
  return flights.filter(([a, b]) => b - a > 0.5);
}

const bothEndsS = 2 / 198.6;

describe.skipIf(!hasOpenData('falling-phone'))('falling and thrown phones', () => {
  const files = hasOpenData('falling-phone')
    ? readdirSync(join(openDataDir, 'falling-phone')).filter((f) => f.endsWith('.csv'))
    : [];
  it.each(files.filter((f) => f.startsWith('fall_')))('%s: one drop, its time, no throw', (file) => {
    const events = track(readOpenCsv('falling-phone', file));
    const flights = longFlights(events);
    expect(flights).toHaveLength(1);
    const [start, end] = flights[0] as [number, number];
    expect(end - start).toBeGreaterThan(0.62 - bothEndsS);
    expect(end - start).toBeLessThan(0.66 + bothEndsS);
    expect(events.every((event) => event.kind === 'rejected')).toBe(true);
  });
  it.each(files.filter((f) => f.startsWith('up_and_down')))('%s: one throw, its time, not the rebound', (file) => {
    const events = track(readOpenCsv('falling-phone', file));
    const thrown = events.filter((event) => event.kind === 'shot');
    expect(thrown).toHaveLength(1);
    const [start, end] = longFlights(events)[0] as [number, number];
    expect(end - start).toBeGreaterThan(0.82 - bothEndsS);
    expect(end - start).toBeLessThan(0.97 + bothEndsS);
  });
});

describe.skipIf(!hasOpenData('flatball'))('spinning disc', () => {
  it('finds the one flight and its spin agrees with the centripetal acceleration', () => {
    const block = readOpenCsv('flatball', '2025-08-31-001-rb.csv');
    const flights = longFlights(track(block));
    expect(flights).toHaveLength(1);
    const [start, end] = flights[0] as [number, number];
    expect(end - start).toBeGreaterThan(1.5);
    const gyro = block.gyroRadps as Float64Array;
    const ratios: number[] = [];
    for (let i = 0; i < block.length; i++) {
      const t = block.timeS[i] as number;
      if (t < start + 0.3 || t > end - 0.3) continue;
      const fromForce = Math.sqrt(
        Math.hypot(block.accelMps2[3 * i] as number, block.accelMps2[3 * i + 1] as number) / 0.0205,
      );
      ratios.push(fromForce / Math.abs(gyro[3 * i + 2] as number));
    }
    const mean = ratios.reduce((sum, r) => sum + r, 0) / ratios.length;
    expect(Math.abs(mean - 1)).toBeLessThan(0.02);
  });
});
