import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { Random } from '../../src/simulate/random.ts';
import {
  breakEvidence,
  deriveEvidence,
  type EvidenceState,
  effectOf,
  effectSequence,
  evidenceAgainst,
  initialEvidence,
  proportionSequence,
  stepEvidence,
} from '../../src/study/evidence.ts';
import { logGamma } from '../../src/study/gamma-function.ts';

const plain = deriveEvidence({ serialCorrelation: 0, effectSds: 1 });

function feed(values: readonly number[], params = plain): EvidenceState {
  let state = initialEvidence;
  for (const value of values) state = stepEvidence(params, state, { value, nuisance: 0, covariate: 1 });
  return state;
}

describe('evidence for a level', () => {
  it('is the likelihood ratio integrated by hand over effect and spread', () => {
    const values = [0.8, -0.1, 1.4, 0.5, 2.2];
    // Prior of effect / spread normal(0, 1), of spread 1 / spread; both sides integrated on a grid.
    const n = values.length;
    const log0 = (s: number) => values.reduce((sum, v) => sum - (v * v) / (2 * s * s), 0) - (n + 1) * Math.log(s);
    let [over, overAbove, under] = [0, 0, 0];
    for (let ls = -4; ls <= 6; ls += 0.01) {
      const s = Math.exp(ls);
      under += Math.exp(log0(s)) * s;
      for (let d = -8; d <= 8; d += 0.02) {
        const log1 =
          values.reduce((sum, v) => sum - (v - d * s) ** 2 / (2 * s * s), 0) - (n + 1) * Math.log(s) - (d * d) / 2;
        const part = (Math.exp(log1) * s * 0.02) / Math.sqrt(2 * Math.PI);
        over += part;
        if (d > 0.01) overAbove += 2 * part;
        else if (d > -0.01) overAbove += part;
      }
    }
    const found = evidenceAgainst(plain, feed(values), 0);
    expect(found.twoSided).toBeCloseTo(over / under, 4);
    expect(found.above).toBeCloseTo(overAbove / under, 3);
    expect((found.above + found.below) / 2).toBeCloseTo(found.twoSided, 10);
  });

  it('does not depend on the unit, and moves with the null', () => {
    fc.assert(
      fc.property(
        fc.array(fc.double({ min: -5, max: 5, noNaN: true }), { minLength: 3, maxLength: 20 }),
        fc.double({ min: 0.01, max: 100, noNaN: true }),
        (values, scale) => {
          fc.pre(new Set(values.map((value) => value.toFixed(3))).size > 2);
          const params = deriveEvidence({ serialCorrelation: 0.3 });
          const one = evidenceAgainst(params, feed(values, params), 0.7);
          const shifted = feed(
            values.map((value) => value - 0.7),
            params,
          );
          expect(evidenceAgainst(params, shifted, 0).above / one.above).toBeCloseTo(1, 5);
          const scaled = feed(
            values.map((value) => value * scale),
            params,
          );
          expect(evidenceAgainst(params, scaled, 0.7 * scale).above / one.above).toBeCloseTo(1, 5);
        },
      ),
    );
  });

  it('its interval ends where the evidence against an effect reaches 1/alpha', () => {
    const state = feed([0.8, -0.1, 1.4, 0.5, 2.2, 1.1, 0.4, 0.9, 1.7, 0.2, 1.0, 0.6]);
    const [low, high] = effectSequence(plain, state, 0.05)!;
    expect(evidenceAgainst(plain, state, low).twoSided).toBeCloseTo(20, 6);
    expect(evidenceAgainst(plain, state, high).twoSided).toBeCloseTo(20, 6);
    const { effect } = effectOf(state)!;
    expect(low).toBeLessThan(effect);
    expect(high).toBeGreaterThan(effect);
  });

  it('says nothing before it can', () => {
    expect(evidenceAgainst(plain, initialEvidence, 0)).toEqual({ above: 1, below: 1, twoSided: 1 });
    expect(evidenceAgainst(plain, feed([3]), 0).twoSided).toBeCloseTo(1, 12);
    expect(effectSequence(plain, feed([3]))).toBeNull();
    expect(evidenceAgainst(plain, feed([2, 2, 2]), 2).above).toBe(1);
  });

  it('takes a level of no interest out', () => {
    const step = (level: number) => {
      let state = initialEvidence;
      for (const [i, value] of [1.2, 0.3, 0.9, 2.4, 3.1, 1.9, 2.2, 2.9].entries())
        state = stepEvidence(plain, state, { value: value + level, nuisance: 1, covariate: i < 3 ? 0 : 1 });
      return evidenceAgainst(plain, state, 0).above;
    };
    expect(step(0)).toBeGreaterThan(3);
    expect(step(1e4) / step(0)).toBeCloseTo(1, 4);
  });
});

/** Share of runs in which evidence ever reaches `border` within `shots` values, looked at after every one. */
function everReached(
  label: string,
  make: (random: Random) => () => number,
  { runs, shots, border, phi, each = 0 }: { runs: number; shots: number; border: number; phi: number; each?: number },
): number {
  const random = new Random(label);
  const params = deriveEvidence({ serialCorrelation: phi });
  let count = 0;
  for (let run = 0; run < runs; run++) {
    const next = make(random);
    let state = initialEvidence;
    for (let i = 0; i < shots; i++) {
      if (each > 0 && i % each === 0) state = breakEvidence(state);
      state = stepEvidence(params, state, { value: next(), nuisance: 0, covariate: 1 });
      if (evidenceAgainst(params, state, 0).above >= border) {
        count++;
        break;
      }
    }
  }
  return count / runs;
}

function serial(random: Random, phi: number, mean = 0, tail = false): () => number {
  let state = random.normal();
  return () => {
    state = phi * state + Math.sqrt(1 - phi * phi) * random.normal();
    // Three degrees of freedom, scaled to a spread of one: the tails of a throw that slipped.
    if (!tail) return mean + state;
    const chi = random.normal() ** 2 + random.normal() ** 2 + random.normal() ** 2;
    return mean + state / Math.sqrt(chi);
  };
}

describe('error rate when looked at after every value (2,000 runs, standard error at 5 % 0.5 %)', () => {
  const options = { runs: 2000, shots: 200, border: 20 };
  it('independent, at the edge of the null', () => {
    expect(everReached('a', (random) => serial(random, 0), { ...options, phi: 0 })).toBeLessThan(0.065);
  });
  it('below the edge', () => {
    expect(everReached('b', (random) => serial(random, 0, -0.3), { ...options, phi: 0 })).toBeLessThan(0.05);
  });
  it('serial correlation as assumed, and less', () => {
    expect(everReached('c', (random) => serial(random, 0.3), { ...options, phi: 0.3 })).toBeLessThan(0.065);
    expect(everReached('d', (random) => serial(random, 0.1), { ...options, phi: 0.3 })).toBeLessThan(0.05);
  });
  it('heavy tails', () => {
    expect(everReached('e', (random) => serial(random, 0.3, 0, true), { ...options, phi: 0.3 })).toBeLessThan(0.065);
  });
  it('and it finds what is there', () => {
    const found = everReached('f', (random) => serial(random, 0.3, 1), { ...options, shots: 60, phi: 0.3 });
    expect(found).toBeGreaterThan(0.9);
  });
});

describe('interval of a make percentage at every look', () => {
  it('holds the chance in 95 % of endless looking', () => {
    const random = new Random('proportion sequence');
    let lost = 0;
    for (let run = 0; run < 1500; run++) {
      let successes = 0;
      for (let n = 1; n <= 150; n++) {
        if (random.chance(0.44)) successes++;
        if (n % 5 !== 0) continue;
        const [low, high] = proportionSequence(successes, n);
        if (low > 0.44 || high < 0.44) {
          lost++;
          break;
        }
      }
    }
    expect(lost / 1500).toBeLessThan(0.05 + 3 * 0.0056);
  });

  it('is wider than an interval for one look, and ends at 0 and 1 where it must', () => {
    const [low, high] = proportionSequence(7, 50);
    expect(low).toBeLessThan(0.058);
    expect(high).toBeGreaterThan(0.267);
    expect(proportionSequence(0, 0)).toEqual([0, 1]);
    expect(proportionSequence(0, 9)[0]).toBe(0);
    expect(proportionSequence(9, 9)[1]).toBe(1);
  });

  it('ends where the likelihood falls to alpha of its mean', () => {
    const [low] = proportionSequence(7, 50);
    const logMean = logGamma(8) + logGamma(44) - logGamma(52);
    expect(7 * Math.log(low) + 43 * Math.log1p(-low)).toBeCloseTo(logMean + Math.log(0.05), 9);
  });
});
