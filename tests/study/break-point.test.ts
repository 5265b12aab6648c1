import { describe, expect, it } from 'vitest';
import { Random } from '../../src/simulate/random.ts';
import { findBreak } from '../../src/study/break-point.ts';

const places = [3, 4, 5, 6, 7, 8];

function shotsAt(random: Random, breakAt: number, slope: number) {
  const x = Array.from({ length: 60 }, (_, i) => places[i % places.length]!);
  return { x, y: x.map((place) => 2 + slope * Math.max(0, place - breakAt) + random.normal(0, 0.3)) };
}

describe('a break in a level', () => {
  it('is found with an interval that holds it in about 95 of 100', () => {
    const random = new Random('break');
    let held = 0;
    for (let run = 0; run < 300; run++) {
      const { x, y } = shotsAt(random, 5.6, 0.4);
      const found = findBreak(x, y, random, { draws: 19 });
      if (found.kind !== 'break') throw new Error(found.reason);
      expect(found.p).toBeLessThanOrEqual(0.1);
      if (found.interval[0] <= 5.6 && found.interval[1] >= 5.6) held++;
    }
    // Standard error of 300 runs 1.3 %; three of them.
    expect(held / 300).toBeGreaterThan(0.95 - 0.039);
  });

  it('is claimed in 5 of 100 where there is none', () => {
    const random = new Random('no break');
    let claimed = 0;
    for (let run = 0; run < 300; run++) {
      const { x, y } = shotsAt(random, 5.6, 0);
      const found = findBreak(x, y, random, { draws: 99 });
      if (found.kind === 'break' && found.p <= 0.05) claimed++;
    }
    expect(claimed / 300).toBeLessThan(0.05 + 0.039);
  });

  it('gives level and slope back from values without scatter', () => {
    const x = places.flatMap((place) => [place, place]);
    const found = findBreak(
      x,
      x.map((place) => 2 - 0.5 * Math.max(0, place - 5)),
      new Random('exact'),
    );
    expect(found).toMatchObject({ kind: 'break', p: expect.closeTo(0.001, 2) });
    if (found.kind !== 'break') return;
    expect(found.at).toBeCloseTo(5, 1);
    expect(found.slope).toBeCloseTo(-0.5, 1);
    expect(found.level).toBeCloseTo(2, 1);
  });

  it('needs values and places', () => {
    expect(findBreak([1, 2, 3], [1, 2, 3], new Random('few')).kind).toBe('insufficient');
    expect(findBreak(Array(20).fill(4), Array(20).fill(1), new Random('one place')).kind).toBe('insufficient');
  });
});

it('equal values have no break, whatever rounding leaves of them', () => {
  const x = Array.from({ length: 36 }, (_, i) => 4 + (i % 3));
  const result = findBreak(
    x,
    x.map(() => 0.41),
    new Random('equal'),
  );
  expect(result).toMatchObject({ kind: 'insufficient', reason: 'all values are the same' });
});
