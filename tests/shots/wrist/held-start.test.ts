import { describe, expect, it } from 'vitest';
import { resolveParams } from '../../../src/foundation/parameters.ts';
import { findHeldStart } from '../../../src/shots/wrist/held-start.ts';
import { errorOf } from '../../../src/shots/wrist/ways.ts';
import { wristParams } from '../../../src/shots/wrist/wrist-params.ts';
import { rateHz, risenSensor } from './risen-sensor.ts';

const params = resolveParams(wristParams);
const end = 1.9 * rateHz;

/** Up by 1 m about 1.6 s. */
const lifted = (t: number): number => 1 / (1 + Math.exp(-(t - 1.6) / 0.04));

function heldAt(heightM: (timeS: number) => number) {
  const { ways, none } = findHeldStart(risenSensor(heightM), end, params);
  return { ways, none, timeS: ways[0]?.timeS ?? Number.NaN };
}

describe('the start of a ball that was held', () => {
  it('is the last low moment without rise, well known where the hand goes up quickly', () => {
    const { ways, none, timeS } = heldAt(lifted);
    // The step rises by e^x / 0.04 m/s before its middle, x in times of 0.04 s: 0.1 m/s at -5.5.
    expect(Math.abs(timeS - (1.6 - 5.5 * 0.04))).toBeLessThan(0.05);
    expect(errorOf(ways, timeS)).toBeLessThan(0.06);
    // A speed that is off by 0.1 m/s more than the drift of 0.08 m/s leaves no rest at all: one in ten, either way.
    expect(none).toBeLessThan(0.25);
  });

  it('may be earlier or later where the hand hardly rises for long: an error of the speed decides', () => {
    // Rises at 0.1 m/s for a second before the lift.
    const slowly = (t: number) => 0.1 * Math.max(0, t - 0.4) + lifted(t);
    const { ways, timeS } = heldAt(slowly);
    expect(errorOf(ways, timeS)).toBeGreaterThan(0.2);
    expect(Math.min(...ways.map((way) => way.timeS))).toBeLessThan(0.6);
    expect(Math.max(...ways.map((way) => way.timeS))).toBeGreaterThan(1.2);
  });

  it('may not have been at all where the last rest is about as high as what no longer counts as low', () => {
    // Up from 0.59 m below: within 1 cm of the limit, known to 5 cm.
    const { none } = heldAt((t) => 0.59 * lifted(t));
    expect(none).toBeGreaterThan(0.2);
    expect(none).toBeLessThan(0.8);
  });
});
