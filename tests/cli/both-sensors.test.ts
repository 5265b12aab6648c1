import path from 'node:path';
import { beforeAll, describe, expect, it } from 'vitest';
import type { Analysis } from '../../src/cli/analyze/analysis-schema.ts';
import { JsonSensorCalibrations, type SensorCalibration } from '../../src/sessions/sensor-calibrations.ts';
import { tempFolder } from '../helpers/temp-folder.ts';
import { runCli } from './run-cli.ts';
import { validateAnalysis } from './validate-analysis.ts';

const folder = tempFolder();
const recording = path.join(folder, 'both.mcap');
const readConfig = () => ({ port: 0, dataFolder: folder, pageFolder: folder });
let both: Analysis;
let ball: Analysis;
let arm: Analysis;

async function analyse(...words: string[]): Promise<Analysis> {
  const { code, stdout, stderr } = await runCli(['analyze', recording, ...words, '--json'], { readConfig });
  expect(code, stderr).toBe(0);
  const document: Analysis = JSON.parse(stdout);
  expect(validateAnalysis(document), JSON.stringify(validateAnalysis.errors)).toBe(true);
  return document;
}

beforeAll(async () => {
  expect((await runCli(['simulate', '--scenario', 'pair-practice', '--out', recording])).code).toBe(0);
  both = await analyse();
  ball = await analyse('--sensor', both.recording.sensorId ?? '');
  arm = await analyse('--sensor', both.arm?.recording.sensorId ?? '');
});

// Some analyses of a whole recording stand in one test.

describe('a recording of a ball and an arm sensor', () => {
  it('becomes one document, each shot once, in the time of the ball, each number from the sensor that knows it', () => {
    expect(both.recording).toMatchObject({ placement: 'ball', calibratedAt: null });
    expect(both.arm?.recording).toMatchObject({ placement: 'wrist' });
    const seen = both.shots.filter((shot) => shot.ball && shot.wrist);
    expect(seen.length).toBeGreaterThan(0);
    for (const shot of seen) {
      const own = ball.shots.find(({ index }) => index === shot.ball?.index);
      const onArm = arm.shots.find(({ index }) => index === shot.wrist?.index);
      expect(shot.releaseS).toBe(own?.releaseS);
      expect(shot.measures.launchSpeedMps).toMatchObject({ source: 'ball' });
      expect(shot.measures.launchSpeedMps.value).toBe(own?.measures.launchSpeedMps.value);
      expect(shot.measures.snapPeakDegps.value).toBe(onArm?.measures.snapPeakDegps.value);
    }
    const ofBall = both.shots.filter((shot) => shot.ball).length;
    const ofArm = both.shots.filter((shot) => shot.wrist).length;
    expect(ofBall).toBe(ball.shots.length);
    // What the ball showed to be none is no shot of the arm either.
    const overruled = both.rejected.filter(
      ({ seenBy, reason }) => seenBy === 'wrist' && reason.includes('the ball did'),
    );
    expect(ofArm + overruled.length).toBe(arm.shots.length);
    expect(both.shots.map(({ index }) => index)).toEqual(both.shots.map((_, k) => k));
  });

  it('says in the table who measured what', async () => {
    const { stdout } = await runCli(['analyze', recording, '--both'], { readConfig, widthColumns: 200 });
    expect(stdout).toContain('seen by');
    expect(stdout).toContain('ball and arm');
    expect(stdout).toMatch(/Measured by the sensor in the ball:.*launch speed/);
    expect(stdout).toMatch(/Measured by the sensor on the arm:[^.]*snap/);
  });

  it.each([
    ['one sensor beside --both', ['--both', '--sensor', 'a'], 'without --sensor'],
    ['one place beside --both', ['--both', '--placement', 'ball'], 'without --sensor and --placement'],
  ])('refuses %s', async (_, words, part) => {
    const { code, stderr } = await runCli(['analyze', recording, ...words], { readConfig });
    expect(code).toBe(2);
    expect(stderr).toContain(part);
  });

  it('refuses --both where one sensor was recorded', async () => {
    const alone = path.join(folder, 'alone.mcap');
    await runCli(['simulate', '--scenario', 'wrist-free-throw', '--out', alone]);
    const { code, stderr } = await runCli(['analyze', alone, '--both'], { readConfig });
    expect(code).toBe(2);
    expect(stderr).toContain('came 1 sensor');
  });
});

describe("a player's reference shots", () => {
  const mountOf = () => both.arm?.recording.mount as string;
  const add = (mount: string, player: string) =>
    runCli(
      ['spin-reference', 'add', player, '--mount', mount, '--snap', '1100', '--spin', '2.1', '--spin-error', '0.02'],
      { readConfig },
    );
  const onArm = (player: string) => ['--sensor', arm.recording.sensorId as string, '--player', player];

  it('calibrate the backspin', async () => {
    await add(mountOf(), 'Player 07');
    const known = await analyse(...onArm('Player 07'));
    const spinOf = ({ shots }: Analysis) =>
      shots[0]?.measures.backspinRps as { flags?: string[]; standardError: number };
    expect(spinOf(arm).flags).toContain('uncalibrated');
    expect(spinOf(known).flags ?? []).not.toContain('uncalibrated');
    expect(spinOf(known).standardError).toBeLessThan(spinOf(arm).standardError);
    expect((await analyse('--player', 'Player 07')).shots).toHaveLength(both.shots.length);
  });

  it('are refused where there are none for that mount, or no arm', async () => {
    const other = mountOf() === 'forearm' ? 'back-of-hand' : 'forearm';
    await add(other, 'Player 08');
    for (const [player, came] of [
      ['Player 08', '1 at another place'],
      ['Player 09', 'none at all'],
    ] as const) {
      const { code, stderr } = await runCli(['analyze', recording, ...onArm(player)], { readConfig });
      expect(code).toBe(2);
      for (const part of [player, mountOf(), came, 'spin-reference add']) expect(stderr).toContain(part);
    }
    const ofBall = ['--sensor', ball.recording.sensorId as string, '--player', 'Player 07'];
    const { code, stderr } = await runCli(['analyze', recording, ...ofBall], { readConfig });
    expect(code).toBe(2);
    expect(stderr).toContain('only with a sensor on the arm');
  });
});

describe('the calibration of a sensor', () => {
  const calibration = (change: Partial<SensorCalibration>): SensorCalibration => ({
    sensorId: ball.recording.sensorId as string,
    madeAtS: 1_764_000_000,
    accelBiasMps2: [0.3, -0.2, 0.1],
    accelBiasStandardErrorMps2: [0.01, 0.01, 0.01],
    accelScale: [1.01, 0.99, 1],
    accelScaleStandardError: [0.001, 0.001, 0.001],
    accelCheckErrorsMps2: [],
    gyro: null,
    ...change,
  });

  it('is applied, the newest that makes sense, and told', async () => {
    const store = new JsonSensorCalibrations(folder);
    await store.add(calibration({}));
    await store.add(calibration({ madeAtS: 1_764_100_000, accelScale: [0, 1, 1] }));
    const words = ['--sensor', ball.recording.sensorId as string];
    const corrected = await analyse(...words);
    expect(corrected.recording.calibratedAt).toBe('2025-11-24T16:00:00.000Z');
    expect(corrected.recording.clippedShare).toBe(ball.recording.clippedShare);
    expect(corrected.shots).not.toEqual(ball.shots);
    const { stdout } = await runCli(['analyze', recording, ...words], { readConfig });
    expect(stdout).toContain('Corrected by the calibration of 2025-11-24.');
    const plain = await runCli(['analyze', recording, ...words, '--json']);
    expect(JSON.parse(plain.stdout).shots).toEqual(ball.shots);
  });

  it('that makes no sense is told and left', async () => {
    const bad = calibration({ sensorId: arm.recording.sensorId as string, accelBiasMps2: [50, 0, 0] });
    await new JsonSensorCalibrations(folder).add(bad);
    const left = await analyse('--sensor', bad.sensorId);
    expect(left.recording.calibratedAt).toBeNull();
    expect(left.recording.warnings.map(({ code }) => code)).toContain('calibration-unusable');
    expect(left.shots).toEqual(arm.shots);
  });
});
