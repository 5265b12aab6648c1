import { describe, expect, test } from 'vitest';
import { ownBand, placeIn } from '../../src/dashboard/own-band.ts';
import { measured, notMeasured } from '../../src/foundation/measured.ts';
import type { ShotDocument } from '../../src/server/wire/live-document.ts';
import { madeShot, shotDocument } from '../server/made-shots.ts';

/** Newest first. */
function shotsWith(values: readonly (number | null)[]): ShotDocument[] {
  return values.map((value, index) => {
    const shot = madeShot(index);
    const pauseS = value === null ? notMeasured('gap') : measured(value, 0.01);
    const document = shotDocument(index + 1) as ShotDocument;
    return { ...document, shot: { ...shot, measures: { ...shot.measures, pauseS } } };
  });
}

describe('the usual range', () => {
  test('is the median and the scaled median absolute deviation', () => {
    // Worked by hand: median 10, deviations 5 4 3 2 1 0 1 2 3 4 5 with median 3; 3 × 1.4826 = 4.4478.
    const band = ownBand(shotsWith([5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15]), 'pauseS');
    expect(band?.middle).toBe(10);
    expect(band?.low).toBeCloseTo(10 - 4.4478, 4);
    expect(band?.high).toBeCloseTo(10 + 4.4478, 4);
    expect(band?.count).toBe(11);
  });

  test('is not moved by one gross shot', () => {
    const usual = [1, 1.1, 0.9, 1.05, 0.95, 1.02, 0.98, 1.01, 0.99, 1];
    const before = ownBand(shotsWith(usual), 'pauseS');
    const after = ownBand(shotsWith([...usual.slice(1), 60]), 'pauseS');
    expect(Math.abs((after?.middle ?? 0) - (before?.middle ?? 0))).toBeLessThan(0.02);
  });

  test('waits for ten shots that have the measure, and takes the last fifty', () => {
    expect(ownBand(shotsWith([...Array(9).fill(1), ...Array(30).fill(null)]), 'pauseS')).toBeNull();
    expect(ownBand(shotsWith([...Array(50).fill(1), ...Array(50).fill(9)]), 'pauseS')).toMatchObject({
      middle: 1,
      count: 50,
    });
  });
});

test('a number is called outside only where the sensor can tell', () => {
  const band = { middle: 10, low: 8, high: 12, count: 50 };
  expect(placeIn(band, 10, 0.1)).toBe('inside');
  expect(placeIn(band, 12.5, 0.1)).toBe('above');
  expect(placeIn(band, 7.5, 0.1)).toBe('below');
  expect(placeIn(band, 12.5, 0.6)).toBe('unsure');
  expect(placeIn(band, 11.9, 0.2)).toBe('unsure');
  expect(placeIn(band, 7.9, 0.2)).toBe('unsure');
});
