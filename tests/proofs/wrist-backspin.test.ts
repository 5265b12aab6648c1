import { expect, it } from 'vitest';
import { addSpinReference, spinModel } from '../../src/shots/wrist/backspin.ts';
import { playSpinPlayer, type ToldSpin } from '../helpers/spin-players.ts';

const width = (list: readonly ToldSpin[]) =>
  list.reduce((sum, { interval90: [low, high] }) => sum + high - low, 0) / list.length;

it.each(['video', 'ball-sensor'] as const)(
  'backspin is learnt from a few reference shots by %s (a small part of the proof)',
  (from) => {
    const { before, after, taken, refused } = playSpinPlayer({
      ...{ seed: `part by ${from}`, place: 'back-of-hand', from, references: 5, shots: 4 },
    });
    expect(refused).toEqual([]);
    expect(taken).toBeGreaterThanOrEqual(4);
    expect(after).toHaveLength(before.length);
    expect(before.length).toBeGreaterThanOrEqual(3);
    expect(width(after)).toBeLessThan(width(before) / 2);
    // Four standard errors: once in 16,000 shots beyond.
    for (const { value, truthRps, standardError } of [...before, ...after]) {
      expect(Math.abs(value - truthRps)).toBeLessThan(4 * standardError);
    }
  },
);

it('refuses shots whose spin and snap were mixed up or miscounted, once a player is known', () => {
  const radians = Math.PI / 180;
  const at = (snapDegps: number, spinRps: number) => ({
    ...{ snapRateRadps: snapDegps * radians, snapRateSdRadps: 0.3, spinRps, spinSdRps: 0.06 },
    place: 'back-of-hand' as const,
  });
  let model = spinModel('back-of-hand');
  for (const [snap, spin] of [
    [1050, 1.95],
    [1120, 2.1],
    [980, 1.8],
    [1100, 2.0],
    [1010, 1.9],
    [1080, 2.05],
  ] as const) {
    const outcome = addSpinReference(model, at(snap, spin));
    if (outcome.kind === 'refused') throw new Error(outcome.evidence);
    model = outcome.model;
  }
  // Half turns counted as turns, and turns as half turns.
  expect(addSpinReference(model, at(1060, 4))).toMatchObject({ kind: 'refused', reason: 'outlier' });
  expect(addSpinReference(model, at(1060, 1))).toMatchObject({ kind: 'refused', reason: 'outlier' });
  expect(addSpinReference(model, at(1060, 2.05))).toMatchObject({ kind: 'taken' });
});
