import { expect, it } from 'vitest';
import { estimateCountedSpin } from '../../../src/shots/wrist/counted-spin.ts';

it('turns frames and revolutions into a spin with the error of counting', () => {
  const spin = estimateCountedSpin({ revolutions: 2, frames: 240, frameRateHz: 240 });
  if (spin.kind !== 'spin') throw new Error('expected a spin');
  expect(spin.spinRps).toBeCloseTo(2, 12);
  // An eighth of a turn in two: 6.25 %; the frames' ends 0.17 %.
  expect(spin.spinSdRps).toBeCloseTo(0.125, 3);
});

it('knows the frames badly where there are few', () => {
  const spin = estimateCountedSpin({ revolutions: 0.5, frames: 4, frameRateHz: 30, revolutionsSd: 0 });
  if (spin.kind !== 'spin') throw new Error('expected a spin');
  expect(spin.spinSdRps / spin.spinRps).toBeCloseTo(Math.sqrt(1 / 6) / 4, 12);
});

it('believes more of a longer count', () => {
  const share = (revolutions: number) => {
    const spin = estimateCountedSpin({ revolutions, frames: 120 * revolutions, frameRateHz: 240 });
    return spin.kind === 'spin' ? spin.spinSdRps / spin.spinRps : Number.NaN;
  };
  expect(share(3)).toBeLessThan(share(1));
});

it.each([
  ['revolutions-not-positive', { revolutions: 0, frames: 100, frameRateHz: 240 }],
  ['revolutions-not-positive', { revolutions: Number.NaN, frames: 100, frameRateHz: 240 }],
  ['frames-too-few', { revolutions: 1, frames: 2, frameRateHz: 240 }],
  ['frames-too-few', { revolutions: 1, frames: 10.5, frameRateHz: 240 }],
  ['frame-rate-outside', { revolutions: 1, frames: 100, frameRateHz: 0 }],
  ['frame-rate-outside', { revolutions: 1, frames: 100, frameRateHz: Number.POSITIVE_INFINITY }],
  ['aliased', { revolutions: 3, frames: 10, frameRateHz: 30 }],
] as const)('refuses a count as %s', (reason, count) => {
  const outcome = estimateCountedSpin(count);
  expect(outcome).toMatchObject({ kind: 'refused', reason });
  expect(outcome.kind === 'refused' && outcome.evidence).toContain('(');
});
