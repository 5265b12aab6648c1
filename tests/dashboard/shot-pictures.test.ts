import { describe, expect, test } from 'vitest';
import { flightPicture, timingPicture } from '../../src/dashboard/shot-pictures.ts';
import { measured, notMeasured } from '../../src/foundation/measured.ts';
import { madeShot } from '../server/made-shots.ts';

function flight(speed: number, angle: number, seconds: number, doubt = 0.05) {
  const shot = madeShot(0);
  const measures = {
    ...shot.measures,
    launchSpeedMps: measured(speed, doubt),
    launchAngleDeg: measured(angle, 10 * doubt),
    flightS: measured(seconds, 0.002),
  };
  return flightPicture({ ...shot, measures });
}

const points = (path: string) =>
  path
    .replace(/[MZ]/g, '')
    .split('L')
    .map((pair) => pair.split(' ').map(Number) as [number, number]);

describe('the picture of a flight', () => {
  test('follows a slow ball as in a vacuum', () => {
    // Galilei's parabola: 1 m/s straight up rises 1 / (2 × 9.80665) m = 5.1 cm; drag at 1 m/s is 0.2 % of gravity.
    const line = points(flight(1, 90, 0.2)?.line ?? '');
    const highest = Math.max(...line.map(([, y]) => -y));
    expect(highest).toBeCloseTo(5.1, 1);
  });

  test('takes from a free throw what drag takes', () => {
    // In a vacuum 7.2 m/s at 52° are 4.433 m away after one second; drag of a size 7 ball takes about 7 % of that.
    const [x] = points(flight(7.2, 52, 1)?.line ?? '').at(-1) ?? [0, 0];
    expect(x).toBeGreaterThan(400);
    expect(x).toBeLessThan(425);
  });

  test('has a band around the line that widens with the doubt', () => {
    const width = (doubt: number) => {
      const band = points(flight(7, 52, 1, doubt)?.band ?? '');
      const half = band.length / 2;
      return Math.abs((band[half - 1]?.[1] ?? 0) - (band[half]?.[1] ?? 0));
    };
    expect(width(0.05)).toBeGreaterThan(5);
    expect(width(0.1)).toBeGreaterThan(1.8 * width(0.05));
  });

  test('is not drawn where a number is missing', () => {
    const shot = madeShot(0);
    const measures = { ...shot.measures, launchAngleDeg: notMeasured('gap') };
    expect(flightPicture({ ...shot, measures })).toBeNull();
  });
});

describe('the picture of the times', () => {
  const timesOf = (pickupS: number | null, liftS: number | null, releaseS: number | null) =>
    timingPicture({ ...madeShot(0), pickupS, liftS, releaseS });

  test('lays pickup left, release right, and the lift where it was', () => {
    const picture = timesOf(1, 1.25, 2);
    expect(picture?.marks.map(({ name, x }) => [name, Math.round(x)])).toEqual([
      ['pickup', 16],
      ['lift', 88],
      ['release', 304],
    ]);
    expect(picture?.parts.map(({ name }) => name)).toEqual(['gather', 'lift']);
  });

  test('has one part where the lift begins with the pickup', () => {
    const picture = timesOf(1, 1, 2);
    expect(picture?.marks.map(({ name }) => name)).toEqual(['pickup', 'release']);
    expect(picture?.parts.map(({ name }) => name)).toEqual(['lift']);
  });

  test('is not drawn without pickup or release', () => {
    expect(timesOf(null, null, 2)).toBeNull();
    expect(timesOf(1, null, null)).toBeNull();
  });
});
