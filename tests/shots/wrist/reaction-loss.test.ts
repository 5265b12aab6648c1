import { describe, expect, it } from 'vitest';
import { estimateReactionLoss, type ReactionModel } from '../../../src/shots/wrist/reaction-loss.ts';
import { Random } from '../../../src/simulate/random.ts';

const usualS = 0.1;
const spreadS = 0.014;
const model: ReactionModel = {
  windowS: 0.028,
  missShare: 0.05,
  trust: 0.7,
  logPrior: (t) => -0.5 * ((t - usualS) / spreadS) ** 2,
};

/** An arm braked in half a sine of 0.16 s, with a ball's reaction that fades evenly over `fadeS` and ends at `endS`. */
function samples(rateHz: number, endS: number, fadeS: number, reactionMps2: number, noiseMps2 = 0, seed = 'still') {
  const random = new Random(seed);
  const timeS: number[] = [];
  const alongMps2: number[] = [];
  for (let i = 0; i < 0.2 * rateHz; i++) {
    const t = i / rateHz;
    const held = Math.min(1, Math.max(0, (endS - t) / fadeS));
    timeS.push(t);
    alongMps2.push(-30 * Math.sin((Math.PI * t) / 0.16) - reactionMps2 * held + noiseMps2 * random.normal(0, 1));
  }
  return { timeS, alongMps2, filterDelayS: 0 };
}

function loss(of: ReturnType<typeof samples>) {
  const found = estimateReactionLoss(of, 0.05, 0.15, model);
  if (!found) throw new Error('no samples');
  return found;
}

describe('the loss of the reaction', () => {
  // Twice as well as it was known beforehand, even where it was least likely.
  it.each([-0.012, -0.005, 0, 0.006, 0.012])('is found where it was, %f s from the usual time', (offS) => {
    const { timeS, errorS } = loss(samples(200, usualS + offS, 0.015, 20));
    expect(Math.abs(timeS - usualS - offS)).toBeLessThan(0.5 * spreadS);
    expect(errorS).toBeLessThan(0.75 * spreadS);
  });

  it('is within its own error about nine times in ten, with noise and any length of contact', () => {
    const random = new Random('losses');
    let inside = 0;
    const count = 200;
    for (let k = 0; k < count; k++) {
      const endS = usualS + spreadS * random.boundedNormal(0, 1, 2);
      const of = samples(200, endS, random.between(0.006, 0.03), random.between(5, 20), 0.3, `noise ${k}`);
      const { timeS, errorS } = loss(of);
      if (Math.abs(timeS - endS) < 1.645 * Math.hypot(errorS, 0.004)) inside++;
    }
    // 90 % of 200 less three standard deviations; the error may be told too large, for arms are no half sines.
    expect(inside).toBeGreaterThan(0.83 * count);
  });

  it('stays with what is usual where nothing is lost, and where something pushes instead', () => {
    for (const reactionMps2 of [0, -12]) {
      const { timeS, errorS } = loss(samples(200, usualS, 0.012, reactionMps2));
      expect(Math.abs(timeS - usualS)).toBeLessThan(2 * spreadS);
      expect(errorS).toBeGreaterThan(0.5 * spreadS);
    }
  });

  it('says nothing without samples about it, and leaves them as they were', () => {
    const of = samples(200, usualS, 0.015, 12);
    const copy = structuredClone(of);
    loss(of);
    expect(of).toEqual(copy);
    expect(estimateReactionLoss({ timeS: [0, 0.01], alongMps2: [0, 0], filterDelayS: 0 }, 0, 1, model)).toBeNull();
  });
});
