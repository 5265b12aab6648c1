import { describe, expect, it } from 'vitest';
import { resolveParams } from '../../../src/foundation/parameters.ts';
import { findStart } from '../../../src/shots/wrist/start.ts';
import { wristParams } from '../../../src/shots/wrist/wrist-params.ts';
import { risenSensor } from './risen-sensor.ts';

const params = resolveParams(wristParams);
const releaseS = 1.85;

/** Down with a push until 0.65 s, up again to meet the ball at 1.4 m/s about 0.95 s, down with it a little and up by 1.2 m. */
function dribbled(t: number): number {
  const step = (atS: number, lengthS: number): number => 1 / (1 + Math.exp(-(t - atS) / lengthS));
  return -0.35 * step(0.5, 0.04) + 0.3 * step(0.95, 0.053) - 0.15 * step(1.25, 0.04) + 1.2 * step(1.68, 0.05);
}

describe('the start of a shot', () => {
  it('may be a blow of the ball on a hand that goes up to meet it', () => {
    const { path, motion } = risenSensor(dribbled, 1, 0.95);
    expect(motion.riseMps(190)).toBeGreaterThan(1.2);
    const start = findStart(path, motion, releaseS, params);
    const met = start.ways.find(({ timeS, held }) => !held && Math.abs(timeS - 0.95) < 0.02);
    expect(met?.share ?? 0).toBeGreaterThan(0.1);
    const never = findStart(path, motion, releaseS, { ...params, pickupRiseMps: 1 });
    expect(never.ways.some(({ timeS, held }) => !held && Math.abs(timeS - 0.95) < 0.02)).toBe(false);
  });

  it('has an error that reaches every rival, and shares that sum to 1', () => {
    const { path, motion } = risenSensor(dribbled, 1, 0.95);
    const { ways, pickupS, errorS } = findStart(path, motion, releaseS, params);
    if (pickupS === null) throw new Error('a pickup was expected');
    expect(ways.reduce((sum, { share }) => sum + share, 0)).toBeCloseTo(1, 9);
    for (const { timeS, share } of ways) {
      if (share > 0.1) expect(1.7 * errorS).toBeGreaterThan(Math.abs(timeS - pickupS) - 0.03);
    }
  });
});
