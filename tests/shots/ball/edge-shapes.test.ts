import { describe, expect, it } from 'vitest';
import { estimateEdge } from '../../../src/shots/ball/edge-shapes.ts';

const stepS = 0.005;
const delayS = 0.0028;

/**
 * The second-order Butterworth low-pass of cut-off √2 / delay by small explicit steps, apart from any closed form.
 *
 * @returns the filtered force at the instants asked for.
 */
function filtered(forceAt: (timeS: number) => number, instants: readonly number[], fromS: number): number[] {
  const w = Math.SQRT2 / delayS;
  const h = 2e-6;
  const out: number[] = [];
  let [y, v, t] = [forceAt(fromS), 0, fromS];
  for (const instant of instants) {
    for (; t < instant; t += h) {
      // Semi-implicit Euler: an error of the order of w h = 1e-3 of the force.
      v += h * (w * w * (forceAt(t) - y) - Math.SQRT2 * w * v);
      y += h * v;
    }
    out.push(y);
  }
  return out;
}

const clamp = (x: number) => Math.min(1, Math.max(0, x));
const grid = (from: number, to: number) => Array.from({ length: to - from }, (_, i) => (from + i) * stepS);

describe('an instant seen through the filter', () => {
  const places = [0, 0.13, 0.29, 0.41, 0.57, 0.68, 0.83, 0.97];

  it.each([
    ['8 ms', 0.008, 300],
    ['16 ms', 0.016, 300],
  ])(
    'of hands that give way at first and stop the ball hard within %s is found within its error',
    (_, lengthS, level) => {
      const sum = 0;
      let squares = 0;
      for (const place of places) {
        const edgeS = place * stepS;
        // Rises as gently as it levels off: 10 x³ - 15 x⁴ + 6 x⁵.
        const share = (t: number) => clamp((t - edgeS) / lengthS);
        const force = (t: number) => level * share(t) ** 3 * (10 - 15 * share(t) + 6 * share(t) ** 2);
        const timeS = grid(-3, 4);
        const found = estimateEdge(
          'onset',
          { timeS, forceMps2: filtered(force, timeS, -0.05), noiseMps2: 0.05, filterDelayS: delayS, byHand: true },
          -1.6 * stepS,
          2.1 * stepS,
          stepS,
          0.5,
        );
        if (!found) throw new Error('expected an instant');
        const errorS = found.timeS - delayS - (edgeS + lengthS * Math.cbrt(0.05 / level));
        squares += (errorS / found.standardErrorS) ** 2 / places.length;
      }
      expect(Math.abs(sum)).toBeLessThan(0.001);
      expect(squares).toBeLessThan(1);
    },
  );

  it.each([
    ['in 2 ms', 0.002, 200],
    ['in 10 ms', 0.01, 150],
    ['in 20 ms', 0.02, 80],
  ])('of a force that rises %s is found, later by its delay', (_, lengthS, level) => {
    let squares = 0;
    for (const place of places) {
      const edgeS = place * stepS;
      const force = (t: number) => level * Math.min(1, Math.max(0, (t - edgeS) / lengthS));
      const timeS = grid(-3, 5);
      const found = estimateEdge(
        'onset',
        { timeS, forceMps2: filtered(force, timeS, -0.05), noiseMps2: 0.05, filterDelayS: delayS },
        -1.6 * stepS,
        2.1 * stepS,
        stepS,
        0.5,
      );
      if (!found) throw new Error('expected an instant');
      const errorS = found.timeS - delayS - (edgeS + (0.5 / level) * lengthS);
      squares += (errorS / found.standardErrorS) ** 2;
      expect(Math.abs(errorS)).toBeLessThan(0.5 * stepS);
    }
    // In units of its own standard error; the shapes are caricatures, so that errors are cautious and seldom chance.
    expect(squares / places.length).toBeLessThan(2);
  });

  it('of a force that fades is found', () => {
    let squares = 0;
    for (const place of places) {
      const edgeS = place * stepS;
      const force = (t: number) => 40 * Math.min(1, Math.max(0, (edgeS - t) / 0.015));
      const timeS = grid(-5, 5);
      const found = estimateEdge(
        'fade',
        { timeS, forceMps2: filtered(force, timeS, -0.1), noiseMps2: 0.05, filterDelayS: delayS },
        -2.6 * stepS,
        2.6 * stepS,
        stepS,
        0.5,
      );
      if (!found) throw new Error('expected an instant');
      const errorS = found.timeS - delayS - (edgeS - (0.5 / 40) * 0.015);
      squares += (errorS / found.standardErrorS) ** 2;
      expect(Math.abs(errorS)).toBeLessThan(0.5 * stepS);
    }
    expect(squares / places.length).toBeLessThan(2);
  });

  it.each([
    // Fingertips that drag on with 2 m/s² behind a push of 40 m/s², and a push that ends within a sample.
    [
      'of fingertips that drag on behind the push',
      (u: number) => 2 * clamp(u / 0.003) + 40 * clamp((u - 0.02) / 0.035) ** 2,
      0.00075,
    ],
    ['of a push that ends at once', (u: number) => 40 * clamp(u / 0.0025), 0.00003],
  ])('%s is found', (_, before, lastS) => {
    let squares = 0;
    for (const place of places) {
      const edgeS = place * stepS;
      const timeS = grid(-6, 5);
      const found = estimateEdge(
        'fade',
        {
          timeS,
          forceMps2: filtered((t) => before(edgeS - t), timeS, -0.1).map(Math.abs),
          noiseMps2: 0.05,
          filterDelayS: delayS,
        },
        -2.6 * stepS,
        2.6 * stepS,
        stepS,
        0.5,
      );
      if (!found) throw new Error('expected an instant');
      const errorS = found.timeS - delayS - (edgeS - lastS);
      squares += (errorS / found.standardErrorS) ** 2;
      expect(Math.abs(errorS)).toBeLessThan(0.2 * stepS);
    }
    expect(squares / places.length).toBeLessThan(2);
  });

  it('moves along with the samples, and is not moved by their size', () => {
    const timeS = grid(-3, 5);
    const forceMps2 = [0, 0, 0, 0, 30, 150, 200, 200];
    const at = (shiftS: number, factor: number) =>
      estimateEdge(
        'onset',
        {
          timeS: timeS.map((t) => t + shiftS),
          forceMps2: forceMps2.map((f) => f * factor),
          noiseMps2: 0.05 * factor,
          filterDelayS: 0,
        },
        shiftS - 1.6 * stepS,
        shiftS + 2.1 * stepS,
        stepS,
        0.5 * factor,
      );
    const base = at(0, 1);
    expect(at(1000, 1)?.timeS).toBeCloseTo(1000 + (base?.timeS as number), 8);
    expect(at(0, 3)?.timeS).toBeCloseTo(base?.timeS as number, 12);
    expect(at(0, 3)?.standardErrorS).toBeCloseTo(base?.standardErrorS as number, 12);
  });

  it('is never surer than an eighth of a sample, and less sure in more noise', () => {
    const timeS = grid(-3, 5);
    const error = (noiseMps2: number) =>
      estimateEdge(
        'onset',
        { timeS, forceMps2: [0, 0, 0, 0, 30, 150, 200, 200], noiseMps2, filterDelayS: 0 },
        -1.6 * stepS,
        2.1 * stepS,
        stepS,
        0.5,
      )?.standardErrorS as number;
    expect(error(0.01)).toBeGreaterThanOrEqual(0.12 * stepS);
    expect(error(10)).toBeGreaterThan(error(0.01));
  });

  it("of a blow beyond the sensor's range is found from the samples before its end", () => {
    let squares = 0;
    for (const place of places) {
      const edgeS = place * stepS;
      // A ring: half a sine of 9 ms with a peak of 900 m/s², of which the sensor reads 157.
      const force = (t: number) =>
        t > edgeS && t < edgeS + 0.009 ? 900 * Math.sin((Math.PI * (t - edgeS)) / 0.009) : 0;
      const timeS = grid(-3, 4);
      const read = filtered(force, timeS, -0.05);
      const found = estimateEdge(
        'onset',
        {
          timeS,
          forceMps2: read.map((f) => Math.min(157, Math.abs(f))),
          atLeast: read.map((f) => Math.abs(f) > 157),
          noiseMps2: 0.05,
          filterDelayS: delayS,
        },
        -1.6 * stepS,
        2.1 * stepS,
        stepS,
        0.5,
      );
      if (!found) throw new Error('expected an instant');
      const errorS = found.timeS - delayS - edgeS;
      squares += (errorS / found.standardErrorS) ** 2;
      expect(Math.abs(errorS)).toBeLessThan(0.5 * stepS);
    }
    expect(squares / places.length).toBeLessThan(2);
  });

  it('is null where no force above the touch stands in the samples', () => {
    const timeS = grid(-3, 5);
    const weak = { timeS, forceMps2: timeS.map(() => 0), noiseMps2: 0.05, filterDelayS: 0 };
    expect(estimateEdge('onset', weak, -0.008, 0.01, stepS, 0.5)).toBeNull();
  });
});
