import { describe, expect, test } from 'vitest';
import { isInsufficient } from '../../src/study/checks.ts';
import { compareTwo, medianWithInterval } from '../../src/study/compare-two.ts';
import { uniformFrom } from '../signal/simulated-sensor-clock.ts';

function normalFrom(seed: number): () => number {
  const uniform = uniformFrom(seed);
  return () => Math.sqrt(-2 * Math.log(1 - uniform())) * Math.cos(2 * Math.PI * uniform());
}

/** Shots of one practice, each hanging on the one before. */
function row(normal: () => number, count: number, correlation: number, level = 0): number[] {
  const fresh = Math.sqrt(1 - correlation ** 2);
  let last = normal();
  return Array.from({ length: count }, () => {
    last = correlation * last + fresh * normal();
    return level + last;
  });
}

describe('two groups of shots', () => {
  test('with two practices a side practices are the data, however many shots they have', () => {
    // SOURCE: Welch's test on the four means by hand: 1.0, 2.0 against 3.0, 4.0: difference -2, standard error sqrt(0.25 + 0.25), df 2.
    const side = (means: readonly number[]) =>
      means.map((middle, at) => ({ practice: `p${middle}-${at}`, values: [middle - 1, middle, middle + 1] }));
    const { basis, difference, answer } = compareTwo(side([1, 2]), side([3, 4]));
    expect(basis).toBe('practices');
    if (isInsufficient(difference)) throw new Error('expected a difference');
    expect(difference.difference).toBeCloseTo(-2, 12);
    expect(difference.standardError).toBeCloseTo(Math.sqrt(0.5), 12);
    expect(difference.df).toBeCloseTo(2, 9);
    // t = -2.83 with 2 degrees of freedom: p = 0.106.
    expect(answer).toBe('open');
  });

  test('one practice each, not the same, tells nothing: how days differ is not known', () => {
    const values = row(normalFrom(1), 40, 0);
    const compared = compareTwo([{ practice: 'a', values }], [{ practice: 'b', values: values.map((v) => v + 9) }]);
    expect(compared.answer).toBe('too-few');
    expect(isInsufficient(compared.difference) && compared.difference.reason).toContain('2 practices');
  });

  test('few shots of one practice tell nothing, and say how many it takes', () => {
    const values = row(normalFrom(2), 7, 0);
    const compared = compareTwo([{ practice: 'a', values }], [{ practice: 'a', values: row(normalFrom(3), 30, 0) }]);
    expect(compared.answer).toBe('too-few');
    expect(isInsufficient(compared.difference) && compared.difference.reason).toContain('8 shots');
  });

  test('empty sides and sides without any spread are told as such', () => {
    expect(compareTwo([], []).answer).toBe('too-few');
    const flat = { practice: 'a', values: Array.from({ length: 12 }, () => 1) };
    expect(compareTwo([flat], [flat]).answer).toBe('too-few');
  });

  test.each([
    [0, 0.065],
    [0.3, 0.1],
  ])(
    'shots that hang together by %d are told apart in at most a share of %d where they are alike',
    (correlation, most) => {
      const normal = normalFrom(11);
      let told = 0;
      for (let draw = 0; draw < 2000; draw++) {
        const sides = [0, 1].map(() => [{ practice: 'a', values: row(normal, 20, correlation) }]);
        if (compareTwo(sides[0]!, sides[1]!).answer === 'differ') told++;
      }
      expect(told / 2000).toBeLessThanOrEqual(most);
    },
  );

  test('a difference of one and a half spreads is told with twenty shots a side in nine of ten', () => {
    const normal = normalFrom(12);
    let told = 0;
    for (let draw = 0; draw < 300; draw++) {
      const [one, two] = [row(normal, 20, 0), row(normal, 20, 0, 1.5)];
      if (compareTwo([{ practice: 'a', values: one }], [{ practice: 'a', values: two }]).answer === 'differ') told++;
    }
    expect(told).toBeGreaterThan(270);
  });
});

describe('the interval of a median', () => {
  test('lies between the sorted values of the table', () => {
    // SOURCE: ranks of the 90 % interval by the binomial table (Conover 1999, table A3): n = 10 ranks 2 and 9 (97.9 %), n = 20 ranks 6 and 15
    // (95.9 %): the next narrower ones, 3 and 8 (89.1 %) and 7 and 14 (88.5 %), hold less than 90 %.
    const values = (n: number) => Array.from({ length: n }, (_, at) => at + 1);
    expect(medianWithInterval(values(10))).toEqual({ median: 5.5, interval: [2, 9] });
    expect(medianWithInterval(values(20))).toEqual({ median: 10.5, interval: [6, 15] });
    // 2 / 2^4 is more than 10 %.
    expect(medianWithInterval(values(4)).interval).toBeNull();
    expect(medianWithInterval(values(5)).interval).toEqual([1, 5]);
  });

  test('holds the median of what it was drawn from', () => {
    const normal = normalFrom(5);
    let held = 0;
    for (let draw = 0; draw < 2000; draw++) {
      const [low, high] = medianWithInterval(row(normal, 15, 0)).interval!;
      if (low <= 0 && high >= 0) held++;
    }
    expect(held / 2000).toBeGreaterThan(0.9);
  });
});
