import { readFileSync } from 'node:fs';
import path from 'node:path';
import { beforeAll, describe, expect, it } from 'vitest';
import type { Analysis } from '../../src/cli/analyze/analysis-schema.ts';
import { shotMeasureNames } from '../../src/shots/shot.ts';
import type { WristPracticeTruth } from '../../src/simulate/arm/wrist-practice-truth.ts';
import { tempFolder } from '../helpers/temp-folder.ts';
import { runCli } from './run-cli.ts';
import { validateAnalysis } from './validate-analysis.ts';

const folder = tempFolder();
const readConfig = () => ({ port: 0, dataFolder: folder, pageFolder: folder });

interface Recording {
  readonly file: string;
  readonly truth: WristPracticeTruth;
}

async function record(scenario: string): Promise<Recording> {
  const file = path.join(folder, `${scenario}.csv`);
  const { code, stderr } = await runCli(['simulate', '--scenario', scenario, '--out', file]);
  expect(code, stderr).toBe(0);
  const truth = JSON.parse(readFileSync(file.replace('.csv', '.truth.json'), 'utf8')) as WristPracticeTruth;
  return { file, truth };
}

async function analyse(file: string, ...words: string[]): Promise<Analysis> {
  const asked = ['analyze', file, '--placement', 'wrist', ...words, '--json'];
  const { code, stdout, stderr } = await runCli(asked, { readConfig });
  expect(code, stderr).toBe(0);
  const document: Analysis = JSON.parse(stdout);
  expect(validateAnalysis(document), JSON.stringify(validateAnalysis.errors)).toBe(true);
  return document;
}

let forearm: Recording;
let hand: Recording;

beforeAll(async () => {
  forearm = await record('wrist-arm-shown');
  hand = await record('wrist-pull-up');
});

/** What only one of the two places sees. */
const ofForearm = ['forearmElevationDeg', 'followThroughS', 'headingChangeDeg'] as const;
const ofHand = ['axisTiltDeg'] as const;

describe('a CSV recording of a sensor on the arm', () => {
  it('above the wrist gives every shot, with the forearm and without the hand', async () => {
    const { shots, recording } = await analyse(forearm.file, '--mount', 'forearm');
    expect(recording).toMatchObject({ placement: 'wrist' });
    expect(shots).toHaveLength(forearm.truth.shots.length);
    shots.forEach((shot, i) => {
      const truth = forearm.truth.shots[i];
      if (!truth || shot.releaseS === null) throw new Error('expected a release');
      // Four of its standard errors, and a sample.
      expect(Math.abs(shot.releaseS - truth.releaseS)).toBeLessThan(4 * (shot.timeErrorsS.release ?? 0) + 0.005);
      for (const name of ofForearm) {
        const { [name]: told } = shot.measures;
        if (told.value === null) {
          expect(told.reason, name).toMatch(/^(no-landing|no-still-hand|gap)$/);
          continue;
        }
        const expected = truth.measures[name].value as number;
        expect(Math.abs(told.value - expected), name).toBeLessThan(4 * told.standardError);
      }
      // The arm was shown at the start: the forearm's elevation is told, and well.
      expect(shot.measures.forearmElevationDeg.value).not.toBeNull();
      for (const name of ofHand)
        expect(shot.measures[name]).toMatchObject({ reason: 'not-observable-from-this-mount' });
      expect(shot.measures.launchSpeedMps).toMatchObject({ value: null, reason: 'not-observable-from-wrist' });
    });
  });

  it('on the back of the hand gives the tilt and nothing of the forearm', async () => {
    const { shots } = await analyse(hand.file, '--mount', 'back-of-hand');
    expect(shots).toHaveLength(hand.truth.shots.length);
    shots.forEach((shot, i) => {
      const { axisTiltDeg: told } = shot.measures;
      const expected = hand.truth.shots[i]?.measures.axisTiltDeg.value as number;
      if (told.value === null) expect(told.reason).toBe('gap');
      else expect(Math.abs(told.value - expected)).toBeLessThan(4 * told.standardError);
      for (const name of ofForearm) {
        expect(shot.measures[name]).toEqual({ value: null, reason: 'not-observable-from-this-mount' });
      }
    });
  });

  it('whose place nobody told and that no movement tells gives neither, with the reason', async () => {
    const { shots } = await analyse(hand.file);
    expect(shots).toHaveLength(hand.truth.shots.length);
    for (const shot of shots) {
      const known = [...ofForearm, ...ofHand].map((name) => shot.measures[name]);
      // Found from the movement it is the hand; else it is unknown. Never the forearm.
      for (const measure of known.slice(0, ofForearm.length)) {
        expect(measure).toMatchObject({
          value: null,
          reason: expect.stringMatching(/^(mount-unknown|not-observable-from-this-mount)$/),
        });
      }
    }
  });

  it('prints a table with what a player reads, and every number has its error', async () => {
    const { shots } = await analyse(forearm.file, '--mount', 'forearm');
    for (const shot of shots) {
      for (const name of shotMeasureNames) {
        const measure = shot.measures[name];
        if (measure.value !== null) expect(measure.standardError, name).toBeGreaterThan(0);
      }
      const { backspinRps: spin } = shot.measures;
      if (spin.value !== null) expect(spin).toMatchObject({ source: 'model', flags: ['uncalibrated'] });
    }
    const words = ['analyze', forearm.file, '--placement', 'wrist', '--mount', 'forearm'];
    const { code, stdout } = await runCli(words, { readConfig, widthColumns: 200 });
    expect(code).toBe(0);
    expect(stdout).toMatch(/±/);
  });
});
