import { writeFileSync } from 'node:fs';
import path from 'node:path';
import fc from 'fast-check';
import { beforeAll, describe, expect, it } from 'vitest';
import type { Analysis } from '../../src/cli/analyze/analysis-schema.ts';
import { shotMeasureNames } from '../../src/shots/shot.ts';
import { simulatePractice } from '../../src/simulate/practice.ts';
import { blockToCsv } from '../../src/simulate/practice-csv.ts';
import { scenarioPractice } from '../../src/simulate/scenarios.ts';
import { tempFolder } from '../helpers/temp-folder.ts';
import { runCli } from './run-cli.ts';

const folder = tempFolder();
const times = ['pickupS', 'liftS', 'releaseS', 'contactS'] as const;
const errors = ['pickup', 'lift', 'release', 'contact'] as const;
let rows: string[] = [];

beforeAll(() => {
  const { block } = simulatePractice(scenarioPractice('catch-and-shoot-net', 3));
  rows = blockToCsv(block).trim().split('\n');
});

async function analyze(lines: readonly string[], ...words: readonly string[]): Promise<Analysis> {
  const file = path.join(folder, 'times.csv');
  writeFileSync(file, `${lines.join('\n')}\n`);
  const { code, stdout, stderr } = await runCli(['analyze', file, '--placement', 'ball', '--json', ...words]);
  expect(code, stderr).toBe(0);
  return JSON.parse(stdout);
}

const withTimes = (change: (timeS: number) => string) =>
  rows.map((row, i) => (i === 0 ? row : `${change(Number(row.split(',', 1)[0]))}${row.slice(row.indexOf(','))}`));

describe('the origin of a CSV recording’s time', () => {
  it('moves the times and changes nothing else', async () => {
    const plain = await analyze(withTimes((timeS) => timeS.toFixed(6)));
    expect(plain.shots.length).toBeGreaterThan(0);
    // Where a clock counts from does not matter; beyond 2e9 a number of 64 bits keeps less than a microsecond.
    const shift = fc.oneof(
      fc.constantFrom(-1000, 1e5, 1_764_000_000, 2e9),
      fc.double({ min: -2e9, max: 2e9, noNaN: true }).map((value) => Number(value.toFixed(3))),
    );
    await fc.assert(
      fc.asyncProperty(shift, async (shiftS) => {
        const moved = await analyze(withTimes((timeS) => (timeS + shiftS).toFixed(6)));
        expect(moved.shots).toHaveLength(plain.shots.length);
        expect(moved.rejected.map(({ kind }) => kind)).toEqual(plain.rejected.map(({ kind }) => kind));
        expect((moved.recording.startS as number) - shiftS).toBeCloseTo(plain.recording.startS as number, 5);
        for (const [i, shot] of plain.shots.entries()) {
          const other = moved.shots[i] as (typeof moved.shots)[number];
          for (const name of times) {
            if (shot[name] === null) expect(other[name]).toBeNull();
            else expect((other[name] as number) - shiftS).toBeCloseTo(shot[name], 4);
          }
          for (const name of shotMeasureNames) {
            const [a, b] = [shot.measures[name], other.measures[name]];
            if (a.value === null || b.value === null) expect(b).toEqual(a);
            else expect(Math.abs(b.value - a.value), name).toBeLessThan(0.02 * a.standardError + 1e-6);
          }
        }
      }),
      { numRuns: 6, examples: [[-1000], [1_764_000_000], [2e9]] },
    );
  });

  it('written in whole milliseconds changes nothing by more than its error', async () => {
    const plain = await analyze(withTimes((timeS) => timeS.toFixed(6)));
    const coarse = await analyze(withTimes((timeS) => timeS.toFixed(3)));
    expect(coarse.recording.gapCount).toBe(plain.recording.gapCount);
    expect(coarse.shots).toHaveLength(plain.shots.length);
    for (const [i, shot] of plain.shots.entries()) {
      const other = coarse.shots[i] as (typeof coarse.shots)[number];
      for (const name of shotMeasureNames) {
        const [a, b] = [shot.measures[name], other.measures[name]];
        if (a.value !== null && b.value !== null)
          expect(Math.abs(b.value - a.value), name).toBeLessThan(1.645 * a.standardError + 0.001);
      }
    }
  });
});

/** Between two instants, or at the release: a filter does not shift all of them alike. */
const smeared = ['flightS', 'pickupToReleaseS', 'liftToReleaseS', 'launchSpeedMps', 'launchAngleDeg', 'apexM'];

describe('a filter whose delay nobody told', () => {
  it('is in the errors of all times and of what follows from them, and changes no number', async () => {
    const told = await analyze(rows, '--filter-delay', '0');
    const untold = await analyze(rows);
    const rateHz = told.recording.sampleRateHz as number;
    expect(untold.recording.warnings.map(({ code }) => code)).toEqual(['filter-delay-unknown']);
    expect(told.recording.warnings).toEqual([]);
    for (const [i, shot] of told.shots.entries()) {
      const other = untold.shots[i] as (typeof untold.shots)[number];
      for (const [name, measure] of Object.entries(shot.measures)) {
        const untoldMeasure = other.measures[name as keyof typeof other.measures];
        expect(untoldMeasure.value).toBe(measure.value);
        if (measure.value === null || untoldMeasure.value === null) continue;
        if (!smeared.includes(name)) expect(untoldMeasure).toEqual(measure);
        else expect(untoldMeasure.standardError).toBeGreaterThan(measure.standardError);
      }
      for (const name of times) expect(other[name]).toBe(shot[name]);
      for (const name of errors) {
        const [a, b] = [shot.timeErrorsS[name], other.timeErrorsS[name]];
        if (a === null || b === null) expect(b).toBe(a);
        // A second-order low-pass at 0.42 of the rate delays by √2 / (2π · 0.42) samples: within the 90 % interval.
        else expect(1.645 * Math.sqrt(b * b - a * a)).toBeGreaterThan(Math.SQRT2 / (2 * Math.PI * 0.42) / rateHz);
      }
    }
  });

  it('is asked about when it was told in seconds', async () => {
    const { recording } = await analyze(rows, '--filter-delay', '0.0025');
    expect(recording.warnings).toEqual([
      { code: 'filter-delay-suspect', message: expect.stringContaining('say --filter-delay 2.5') },
    ]);
  });
});

it('an empty path is no file name', async () => {
  const { code, stderr } = await runCli(['analyze', '', '--placement', 'ball']);
  expect(code).toBe(2);
  expect(stderr).toContain("argument '<file>' is empty");
});
