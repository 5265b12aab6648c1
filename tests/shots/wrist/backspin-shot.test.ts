import { expect, it } from 'vitest';
import { measured, notMeasured } from '../../../src/foundation/measured.ts';
import { backspinOf } from '../../../src/shots/wrist/backspin-shot.ts';

const snap = measured(1100, 20);
const reference = {
  snapRateRadps: 19.2,
  snapRateSdRadps: 0.3,
  spinRps: 2.4,
  spinSdRps: 0.05,
  place: 'back-of-hand',
} as const;

it('gives the model’s backspin of a snap peak in degrees a second', () => {
  const wide = backspinOf(snap, { mount: 'back-of-hand' });
  const known = backspinOf(snap, { mount: 'back-of-hand', spinReferences: Array(8).fill(reference) });
  if (wide.value === null || known.value === null) throw new Error('expected a spin');
  expect(wide.flags).toEqual(['uncalibrated']);
  expect(known.flags).toBeUndefined();
  // 1100 °/s are 19.2 rad/s, the snap of the references.
  expect(Math.abs(known.value - 2.4)).toBeLessThan(0.1);
  expect(known.standardError).toBeLessThan(wide.standardError / 2);
});

it('passes on why there is no snap, and needs to know the mount', () => {
  expect(backspinOf(notMeasured('clipped'), { mount: 'forearm' })).toEqual({ value: null, reason: 'clipped' });
  expect(backspinOf(snap, { mount: null })).toEqual({ value: null, reason: 'mount-unknown' });
});
