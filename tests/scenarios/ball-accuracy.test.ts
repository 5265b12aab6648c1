import { beforeAll, describe, expect, it } from 'vitest';
import { AccuracyTable, accuracyGoals, coverageOf, startKindGoal } from '../helpers/accuracy-table.ts';
import { playPractice } from '../helpers/play-practice.ts';

/** The proofs ball-accuracy, ball-coverage and ball-stress in small: the same goals on practices that never change. */

/** All but the side path, whose error is the flight's own doubt of its direction. */
const reached = accuracyGoals.filter(({ name }) => name !== 'side path, m');

const scored = (table: AccuracyTable) => table.score;

describe('two practices at 200 Hz, one by samples and one by notifications', () => {
  const table = new AccuracyTable();

  beforeAll(() => {
    table.add(playPractice({ seed: 'ball accuracy 1', shots: 20, decoys: 20, path: 'samples' }));
    table.add(playPractice({ seed: 'ball accuracy 2', shots: 20, decoys: 20, path: 'notifications' }));
  });

  it('finds every shot and takes no decoy for one', () => {
    expect(scored(table)).toMatchObject({ shots: 40, decoys: 40, found: 40, falseShots: 0 });
  });

  it('knows how the ball came to the hands', () => {
    expect(table.score.startRight / table.score.found).toBeGreaterThanOrEqual(startKindGoal);
  });

  it.each(reached)('reaches the goal of an RMS error of $atMost: $name', (wanted) => {
    const row = table.row(wanted);
    expect(row?.n).toBeGreaterThanOrEqual(8);
    expect(row?.rms, row?.worst.join('\n')).toBeLessThanOrEqual(wanted.atMost);
  });

  it('gives a null only where the definitions demand one, in all but one shot a measure', () => {
    // 2 % of 40 shots is not one whole shot.
    for (const wanted of reached) {
      const row = table.row(wanted);
      const others = Object.values(row?.nulls ?? {}).reduce((sum, n) => sum + n, 0);
      expect(others, `${wanted.name}: ${JSON.stringify(row?.nulls)}`).toBeLessThanOrEqual(1);
      expect(row?.insideGap, wanted.name).toBe(0);
    }
  });

  it('holds the truth in the 90 % intervals of the measures of flight', () => {
    for (const name of ['spinRps', 'axisTiltDeg', 'launchSpeedMps', 'launchAngleDeg', 'release', 'contact']) {
      const { n, cover90 } = coverageOf(table.score.quantities.get(name)!);
      // 90 % less three standard deviations of a share among 40.
      expect(cover90, `${name}, ${n} shots`).toBeGreaterThanOrEqual(0.9 - 3 * Math.sqrt((0.9 * 0.1) / n));
    }
  });
});

describe('a practice at 100 Hz with every effect that the model leaves out', () => {
  const table = new AccuracyTable();

  beforeAll(() => {
    const switches = [
      'variableDrag',
      'unequalInertia',
      'buoyancy',
      'softHands',
      'biasDrift',
      'gyroAccelSensitivity',
      'colouredNoise',
      'rattle',
    ] as const;
    table.add(
      playPractice({ seed: 'ball stress', shots: 20, decoys: 10, sensor: { rateHz: 100 }, switches, path: 'samples' }),
    );
  });

  it('still finds nineteen of twenty shots and takes no decoy for one', () => {
    expect(table.score.found).toBeGreaterThanOrEqual(19);
    expect(table.score.falseShots).toBe(0);
  });
});
