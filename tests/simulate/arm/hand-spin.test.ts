import { describe, expect, it } from 'vitest';
import { drawShotGrip, type FingerGrip, handRateFor } from '../../../src/simulate/arm/hand-spin.ts';
import { Random } from '../../../src/simulate/random.ts';

const grip: FingerGrip = { rollGain: 0.65, rollScatter: 0.04, friction: 0.6 };
const same = { rollShare: 1, frictionShare: 1 };
const [impulseMps, radiusM] = [4, 0.12];
const rate = (spinRadps: number, of: FingerGrip = grip) => handRateFor(spinRadps, of, same, impulseMps, radiusM);

describe('the hand that spins a ball', () => {
  it('turns by the rolling gain while nothing slips', () => {
    expect(rate(1)).toBeCloseTo(1 / 0.65, 5);
    // Friction's limit by hand: 3/2 · 0.6 · 4 / 0.12 = 30 rad/s; at a third of it hardly anything slips.
    expect(rate(10) / (10 / 0.65)).toBeCloseTo((1 - (1 / 3) ** 4) ** -0.25, 9);
    expect(rate(10) / (10 / 0.65)).toBeLessThan(1.01);
  });

  it('has to turn more and more for spin near the limit of friction, and sooner with slippery fingers', () => {
    const effort = (spin: number, of = grip) => (rate(spin, of) * of.rollGain) / spin;
    expect(effort(25)).toBeGreaterThan(effort(20));
    expect(effort(20)).toBeGreaterThan(effort(15));
    expect(effort(20, { ...grip, friction: 0.45 })).toBeGreaterThan(effort(20));
    // Beyond the limit there is no rate that would do: what is asked for stays finite.
    expect(effort(60)).toBeCloseTo((1 - 0.95 ** 4) ** -0.25, 9);
  });

  it('scatters from shot to shot about the player’s own grip', () => {
    const random = new Random('grips');
    const shots = Array.from({ length: 4000 }, () => drawShotGrip(random, grip).rollShare);
    const mean = shots.reduce((a, b) => a + b) / shots.length;
    const sd = Math.sqrt(shots.reduce((sum, x) => sum + (x - mean) ** 2, 0) / shots.length);
    // Three standard errors of the mean of 4,000; the normal numbers are cut at some standard deviations.
    expect(Math.abs(mean - 1)).toBeLessThan((3 * 0.04) / Math.sqrt(4000));
    expect(sd).toBeGreaterThan(0.035);
    expect(sd).toBeLessThan(0.041);
  });
});
