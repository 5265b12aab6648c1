import { describe, expect, it } from 'vitest';
import { Oscillator, pulseSum, smoothColumns } from '../../../src/simulate/arm/reaction.ts';

describe('an oscillator', () => {
  it('answers a constant push as the textbook says', () => {
    const [hz, damping, h] = [12, 0.3, 0.001];
    const oscillator = new Oscillator(hz, damping, h);
    const w = 2 * Math.PI * hz;
    const wd = w * Math.sqrt(1 - damping * damping);
    for (let k = 1; k <= 300; k++) {
      oscillator.step(40, 0, 0);
      const t = k * h;
      // Step response of a damped oscillator (any book on vibrations).
      const decay = Math.exp(-damping * w * t);
      const x = (40 / (w * w)) * (1 - decay * (Math.cos(wd * t) + ((damping * w) / wd) * Math.sin(wd * t)));
      expect(oscillator.x[0]).toBeCloseTo(x, 12);
      expect(oscillator.x[1]).toBe(0);
    }
  });

  it('refuses a damping that does not swing', () => {
    expect(() => new Oscillator(10, 1, 0.001)).toThrow('dampingRatio');
  });
});

describe('pulses', () => {
  it('add up, begin and end at nothing', () => {
    const pulses = [
      { atS: 1, durationS: 0.02, peakMps2: [10, 0, -4] as const },
      { atS: 1.01, durationS: 0.02, peakMps2: [10, 0, 0] as const },
    ];
    expect(pulseSum(pulses, 1)).toEqual([0, 0, 0]);
    expect(pulseSum(pulses, 1.01)[0]).toBeCloseTo(10, 9);
    expect(pulseSum(pulses, 1.015)[0]).toBeCloseTo(10, 9);
    expect(pulseSum(pulses, 1.01)[2]).toBeCloseTo(-4, 9);
  });
});

describe('smoothing', () => {
  it('keeps straight lines, means and the order of columns', () => {
    const n = 200;
    const values = Float64Array.from({ length: 2 * n }, (_, k) => (k % 2 === 0 ? 3 * (k / 2) : k === n + 1 ? 1 : 0));
    smoothColumns(values, 2, 8);
    for (let i = 30; i < n - 30; i++) expect(values[2 * i]).toBeCloseTo(3 * i, 9);
    let sum = 0;
    for (let i = 0; i < n; i++) sum += values[2 * i + 1] as number;
    expect(sum).toBeCloseTo(1, 9);
  });
});
