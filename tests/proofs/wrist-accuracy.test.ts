import { describe, expect, it } from 'vitest';
import { playWrist, WristScore } from '../helpers/play-wrist.ts';

const onForearm = ['forearmElevationDeg', 'followThroughS', 'headingChangeDeg'];
const onHand = ['axisTiltDeg'];

describe('the wrist path against the simulated arm (a small part of the proof)', () => {
  it.each(['wrist-forearm', 'back-of-hand'] as const)('finds shots and tells what is seen from there: %s', (place) => {
    const score = new WristScore();
    const played = playWrist({
      ...{ seed: `small part ${place}`, shots: 3, decoys: 2, rateHz: 200, place, wobbleFactor: 1, showShare: 1 },
    });
    score.add(played);
    expect(score.missed).toEqual([]);
    // Nearly all lie within 4 standard errors; those of the times within a few samples besides.
    for (const [name, list] of score.comparisons) {
      if (/pickup|lift|pause|dip|sidePath|heading/.test(name)) continue;
      for (const { error, standardError } of list) expect(Math.abs(error), name).toBeLessThan(4 * standardError);
    }
    for (const name of [...onForearm, ...onHand]) {
      const seen = (place === 'wrist-forearm' ? onForearm : onHand).includes(name);
      for (const { measures } of played.shots) {
        const measure = measures[name as 'axisTiltDeg'];
        const isUnseen = measure.value === null && measure.reason === 'not-observable-from-this-mount';
        expect(isUnseen, name).toBe(!seen);
      }
    }
    const elevation = score.figures('forearmElevationDeg');
    if (place === 'wrist-forearm') expect(elevation.n).toBeGreaterThanOrEqual(2);
    else expect(elevation.n).toBe(0);
  });
});
