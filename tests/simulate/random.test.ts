import { describe, expect, it } from 'vitest';
import { Random } from '../../src/simulate/random.ts';
import { norm, rotate, type Vec3 } from '../../src/simulate/vectors.ts';

const n = 20_000;

function moments(draw: () => number) {
  let sum = 0;
  let square = 0;
  for (let i = 0; i < n; i++) {
    const value = draw();
    sum += value;
    square += value * value;
  }
  return { mean: sum / n, variance: square / n - (sum / n) ** 2 };
}

describe('the seeded random numbers', () => {
  it('repeat for a seed and differ for another', () => {
    const draws = (seed: string) => {
      const random = new Random(seed);
      return Array.from({ length: 50 }, () => random.unit());
    };
    expect(draws('a')).toEqual(draws('a'));
    expect(draws('a')).not.toEqual(draws('b'));
    expect(new Random(7).unit()).toBe(new Random('7').unit());
  });

  it('fork by label only, however much was drawn before', () => {
    const one = new Random('x');
    const other = new Random('x');
    for (let i = 0; i < 10; i++) other.normal();
    expect(one.fork('wind').unit()).toBe(other.fork('wind').unit());
    expect(one.fork('wind').unit()).not.toBe(one.fork('rain').unit());
  });

  // Standard errors of n draws: mean σ/√n, variance about σ²√(2/n) for the normal; five of them are allowed.
  it('are uniform', () => {
    const random = new Random('uniform');
    const { mean, variance } = moments(() => random.unit());
    expect(Math.abs(mean - 0.5)).toBeLessThan(5 * Math.sqrt(1 / 12 / n));
    expect(Math.abs(variance - 1 / 12)).toBeLessThan(5 * Math.sqrt(1 / 180 / n));
  });

  it('are normal, also in the tails', () => {
    const random = new Random('normal');
    const { mean, variance } = moments(() => random.normal(2, 3));
    expect(Math.abs(mean - 2)).toBeLessThan((5 * 3) / Math.sqrt(n));
    expect(Math.abs(variance - 9)).toBeLessThan(5 * 9 * Math.sqrt(2 / n));
    let beyond = 0;
    for (let i = 0; i < n; i++) if (Math.abs(random.normal()) > 1.959964) beyond++;
    expect(Math.abs(beyond / n - 0.05)).toBeLessThan(5 * Math.sqrt((0.05 * 0.95) / n));
  });

  it('point evenly over the sphere, as directions and as rotations', () => {
    const random = new Random('sphere');
    let direction = [0, 0, 0];
    let turned = [0, 0, 0];
    const sum = (to: number[], v: Vec3) => to.map((x, i) => x + (v[i] as number) / n);
    for (let i = 0; i < n; i++) {
      direction = sum(direction, random.direction());
      turned = sum(turned, rotate(random.rotation(), [1, 0, 0]));
    }
    expect(norm(direction as unknown as Vec3)).toBeLessThan(5 / Math.sqrt(n));
    expect(norm(turned as unknown as Vec3)).toBeLessThan(5 / Math.sqrt(n));
  });

  it('keep to their bounds', () => {
    const random = new Random('bounds');
    for (let i = 0; i < 2000; i++) {
      expect(Math.abs(random.boundedNormal(1, 2, 1.5) - 1)).toBeLessThanOrEqual(3);
      expect([3, 4, 5]).toContain(random.whole(3, 5));
    }
    expect(() => random.pickWeighted([])).toThrow('at least one choice');
  });
});
