import { expect, test } from 'vitest';
import { toneOf, trembleOf } from '../../src/dashboard/sound/cue.ts';
import { measured, notMeasured } from '../../src/foundation/measured.ts';
import { madeShot } from '../server/made-shots.ts';

function shotWith(spinRps: number | null, quicknessS: number | null) {
  const shot = madeShot(0);
  return {
    ...shot,
    measures: {
      ...shot.measures,
      spinRps: spinRps === null ? notMeasured('gap') : measured(spinRps, 0.01),
      pickupToReleaseS: quicknessS === null ? notMeasured('gap') : measured(quicknessS, 0.01),
    },
  };
}

test('twice the spin sounds an octave higher', () => {
  expect(toneOf(shotWith(1, 0.5))?.pitchHz).toBeCloseTo(220);
  expect(toneOf(shotWith(2, 0.5))?.pitchHz).toBeCloseTo(440);
});

test('a tone lasts as long as the release took, within what can be heard and borne', () => {
  expect(toneOf(shotWith(2, 0.8))?.lengthS).toBeCloseTo(0.8);
  expect(toneOf(shotWith(2, 0.01))?.lengthS).toBeCloseTo(0.12);
  expect(toneOf(shotWith(2, 30))?.lengthS).toBeCloseTo(1.2);
  expect(toneOf(shotWith(40, 0.5))?.pitchHz).toBe(1320);
});

test('nothing sounds for a spin that is not known', () => {
  expect(toneOf(shotWith(null, 0.5))).toBeNull();
  expect(toneOf(shotWith(2, null))?.lengthS).toBe(0.5);
});

test('trembles tell the three places apart', () => {
  const patterns = [trembleOf('inside'), trembleOf('above'), trembleOf('below')].map((pattern) => pattern.join());
  expect(new Set(patterns).size).toBe(3);
  expect(trembleOf('unsure')).toEqual([]);
  expect(trembleOf(null)).toEqual([]);
});
