import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import {
  addSpinReference,
  estimateBackspin,
  type SpinModel,
  type SpinReference,
  spinGain,
  spinModel,
} from '../../../src/shots/wrist/backspin.ts';
import { normalBelow } from '../../../src/shots/wrist/linear-belief.ts';
import { madeNoise } from '../../signal/made-motion.ts';

const turn = 2 * Math.PI;

function reference(snapRateRadps: number, spinRps: number, spinSdRps = 0.02): SpinReference {
  return { snapRateRadps, snapRateSdRadps: 0.02 * snapRateRadps, spinRps, spinSdRps, place: 'back-of-hand' };
}

/** Shots of a player of some gain whose shots scatter about it. */
function shots(gain: number, scatter: number, count: number, noise: () => number): SpinReference[] {
  return Array.from({ length: count }, () => {
    const snapRateRadps = 18 * (1 + 0.1 * noise());
    return reference(snapRateRadps * (1 + 0.02 * noise()), ((gain * snapRateRadps) / turn) * (1 + scatter * noise()));
  });
}

function interval(model: SpinModel, snapRateRadps: number): readonly [number, number] {
  const estimate = estimateBackspin(model, snapRateRadps, 0.3);
  if (estimate.value === null) throw new Error('expected a spin');
  return estimate.interval90!;
}

describe('backspin by the model', () => {
  it('is wide before there are references and says so', () => {
    const estimate = estimateBackspin(spinModel('back-of-hand'), 20, 0.4);
    if (estimate.value === null) throw new Error('expected a spin');
    expect(estimate.flags).toEqual(['uncalibrated']);
    expect(estimate.source).toBe('model');
    expect(estimate.value).toBeCloseTo((0.65 * 20) / turn, 2);
    // 25 % of gain, 0.15 rev/s of offset and some 6 to 10 % of scatter, over a value of 2.07 rev/s.
    expect(estimate.standardError / estimate.value).toBeGreaterThan(0.265);
    expect(estimate.standardError / estimate.value).toBeLessThan(0.31);
  });

  it('gives no spin without a snap', () => {
    expect(estimateBackspin(spinModel('back-of-hand'), null, 0)).toEqual({ value: null, reason: 'no-release-seen' });
    expect(estimateBackspin(spinModel('back-of-hand'), 0.5, 0.1).value).toBeNull();
    expect(estimateBackspin(spinModel('back-of-hand'), Number.NaN, 0.1).value).toBeNull();
  });

  it('narrows with references, never below the scatter of single shots', () => {
    const noise = madeNoise(4);
    const players = Array.from({ length: 20 }, () => shots(0.85, 0.08, 200, noise));
    const widths = [0, 1, 3, 10, 200].map((count) => {
      const each = players.map((all) => interval(spinModel('back-of-hand', all.slice(0, count)), 18));
      return each.reduce((sum, [low, high]) => sum + high - low, 0) / players.length;
    });
    for (let k = 1; k < widths.length; k++) expect(widths[k]!).toBeLessThan(widths[k - 1]!);
    const spin = (0.85 * 18) / turn;
    expect(widths[4]!).toBeGreaterThan(2 * 1.645 * 0.07 * spin);
    expect(widths[4]!).toBeLessThan(2 * 1.645 * 0.1 * spin);
  });

  it.each([0, 1, 2, 5, 10])('holds the truth nine times in ten after %i references', (count) => {
    const noise = madeNoise(100 + count);
    let held = 0;
    const trials = 400;
    for (let k = 0; k < trials; k++) {
      const gain = 0.65 * (1 + 0.25 * noise());
      const scatter = 0.065 * 1.8 ** noise();
      if (gain < 0.1) continue;
      const all = shots(gain, scatter, count + 1, noise);
      const next = all[count]!;
      const [low, high] = interval(spinModel('back-of-hand', all.slice(0, count)), next.snapRateRadps);
      if (next.spinRps > low && next.spinRps < high) held++;
    }
    // Binomial standard deviation of 400 trials at 0.9: 0.015; three of them, and 1 % for errors that are not quite normal.
    expect(held / trials).toBeGreaterThan(0.9 - 0.056);
    expect(held / trials).toBeLessThan(0.9 + 0.056);
  });

  it('reaches 8 % on the next shots after ten references with 5 % of scatter', () => {
    const noise = madeNoise(9);
    let squares = 0;
    for (let player = 0; player < 40; player++) {
      const gain = 0.65 * (0.7 + 0.015 * player);
      const all = shots(gain, 0.05, 60, noise);
      const model = spinModel('back-of-hand', all.slice(0, 10));
      for (const { snapRateRadps, spinRps } of all.slice(10)) {
        const estimate = estimateBackspin(model, snapRateRadps, 0.3);
        squares += ((estimate.value ?? Number.NaN) / spinRps - 1) ** 2;
      }
    }
    expect(Math.sqrt(squares / 2000)).toBeLessThan(0.08);
  });

  it('finds the gain', () => {
    const { gain, standardError } = spinGain(spinModel('back-of-hand', shots(0.9, 0.06, 12, madeNoise(2))));
    expect(Math.abs(gain - 0.9)).toBeLessThan(3 * standardError);
    expect(standardError).toBeLessThan(0.1);
  });

  it('learns a player’s usual spin where the snap above the wrist says little of it', () => {
    const noise = madeNoise(12);
    const spinOf = () => 1.9 * (1 + 0.07 * noise());
    const shot = (): SpinReference => ({ ...reference(9 * (1 + 0.2 * noise()), spinOf()), place: 'forearm' });
    const model = spinModel('forearm', Array.from({ length: 10 }, shot));
    let squares = 0;
    let held = 0;
    for (let k = 0; k < 200; k++) {
      const { snapRateRadps, spinRps } = shot();
      const estimate = estimateBackspin(model, snapRateRadps, 0.2);
      const [low, high] = estimate.value === null ? [0, 0] : estimate.interval90!;
      squares += ((estimate.value ?? 0) / spinRps - 1) ** 2;
      if (spinRps > low && spinRps < high) held++;
    }
    // 7 % of scatter, and what ten shots leave of mean and slope.
    expect(Math.sqrt(squares / 200)).toBeLessThan(0.1);
    expect(held / 200).toBeGreaterThan(0.83);
  });

  it('promises no spin below zero', () => {
    const [low, high] = interval(spinModel('forearm', [], { forearmOffsetSdRps: 3 }), 5);
    expect(low).toBe(0);
    expect(high).toBeGreaterThan(4);
  });

  it('keeps references of another place out', () => {
    const elsewhere = { ...reference(8, 2), place: 'forearm' as const };
    expect(spinModel('back-of-hand', [elsewhere]).references).toHaveLength(0);
    expect(spinModel('forearm', [elsewhere]).references).toHaveLength(1);
  });

  it('does not depend on the order of the references', () => {
    const all = shots(0.7, 0.08, 8, madeNoise(6));
    fc.assert(
      fc.property(fc.shuffledSubarray(all, { minLength: 8 }), (shuffled) => {
        const [low, high] = interval(spinModel('back-of-hand', shuffled), 18);
        const [low0, high0] = interval(spinModel('back-of-hand', all), 18);
        expect(Math.abs(low - low0) + Math.abs(high - high0)).toBeLessThan(1e-9);
      }),
      { numRuns: 20 },
    );
  });
});

describe('a reference shot', () => {
  const good = shots(0.65, 0.05, 6, madeNoise(1));
  const refusal = (shot: SpinReference, model = spinModel('back-of-hand')) => {
    const outcome = addSpinReference(model, shot);
    return outcome.kind === 'refused' ? outcome.reason : null;
  };

  it.each([
    ['spin-not-positive', reference(18, 0)],
    ['spin-not-positive', reference(18, -2)],
    ['spin-not-positive', reference(18, Number.NaN)],
    ['spin-too-fast', reference(30, 8.1)],
    ['spin-unsure', reference(18, 2, 2.5)],
    ['spin-unsure', reference(18, 2, Number.NaN)],
    ['no-snap', reference(0, 2)],
    ['no-snap', reference(1.5, 1)],
    ['no-snap', reference(Number.NaN, 2)],
    ['gain-outside', reference(60, 0.5)],
    ['gain-outside', reference(3, 5)],
  ] as const)('is refused as %s', (reason, shot) => {
    const outcome = addSpinReference(spinModel('back-of-hand'), shot);
    expect(outcome).toMatchObject({ kind: 'refused', reason });
  });

  it('is refused as an outlier once there are enough others, with what was expected', () => {
    const model = spinModel('back-of-hand', good);
    expect(refusal(reference(18, (0.65 * 18) / turn), model)).toBeNull();
    const twice = addSpinReference(model, reference(18, (2 * 0.65 * 18) / turn));
    expect(twice).toMatchObject({ kind: 'refused', reason: 'outlier' });
    expect(twice.kind === 'refused' && twice.evidence).toMatch(/expected 1\.\d+ to 1\.\d+/);
    expect(refusal(reference(18, (2 * 0.65 * 18) / turn), spinModel('back-of-hand', good.slice(0, 2)))).toBeNull();
  });

  it('changes the model it is added to by nothing', () => {
    const model = spinModel('back-of-hand', good);
    const outcome = addSpinReference(model, reference(18, 1.9));
    expect(model.references).toHaveLength(6);
    expect(outcome.kind === 'taken' && outcome.model.references).toHaveLength(7);
  });
});

it('has the normal distribution right', () => {
  // Abramowitz and Stegun 1972, table 26.1.
  expect(normalBelow(0)).toBeCloseTo(0.5, 7);
  expect(normalBelow(1)).toBeCloseTo(0.8413447461, 7);
  expect(normalBelow(-1.644854)).toBeCloseTo(0.05, 6);
  expect(normalBelow(3)).toBeCloseTo(0.998650102, 7);
});
