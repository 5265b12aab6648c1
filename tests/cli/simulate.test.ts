import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { describe, expect, it } from 'vitest';
import type { Analysis } from '../../src/cli/analyze/analysis-schema.ts';
import { toAnalysedShot } from '../../src/cli/analyze/compose-analysis.ts';
import { allScenarioNames } from '../../src/cli/simulate/simulate-command.ts';
import { SensorChain } from '../../src/live/notification-chain.ts';
import { decodeSensorDescription } from '../../src/protocol/sensor-description.ts';
import { defaultBallSettings, type Shot } from '../../src/shots/shot.ts';
import { encodePractice } from '../../src/simulate/encoded-practice.ts';
import { simulatePractice } from '../../src/simulate/practice.ts';
import { blockToCsv, withoutGyro } from '../../src/simulate/practice-csv.ts';
import { scenarioPractice } from '../../src/simulate/scenarios.ts';
import { tempFolder } from '../helpers/temp-folder.ts';
import { runCli } from './run-cli.ts';
import { validateAnalysis } from './validate-analysis.ts';

const folder = tempFolder();
const inFolder = (name: string) => path.join(folder, name);

describe('simulate', () => {
  it('lists its scenarios', async () => {
    const { code, stdout } = await runCli(['simulate', '--list']);
    expect(code).toBe(0);
    for (const name of allScenarioNames()) expect(stdout).toContain(`${name}: `);
  });

  it('writes a recording and the truth, the same bytes every time', async () => {
    const files = ['one.mcap', 'other.mcap'].map(inFolder);
    for (const file of files) {
      const { code, stdout } = await runCli(['simulate', '--scenario', 'air-ball', '--seed', '5', '--out', file]);
      expect(code).toBe(0);
      expect(stdout).toContain('2 shots, 0 other acts');
    }
    const [one, other] = files.map((file) => readFileSync(file)) as [Buffer, Buffer];
    expect(one.equals(other)).toBe(true);
    const truth = JSON.parse(readFileSync(inFolder('one.truth.json'), 'utf8'));
    expect(truth).toMatchObject({ schemaVersion: 1, scenario: 'air-ball' });
    expect(truth.shots).toHaveLength(2);
  });

  it('writes two tables of a practice with two sensors, and their truths together', async () => {
    const words = ['simulate', '--scenario', 'pair-free-throw', '--out', inFolder('pair.csv')];
    const { code, stdout } = await runCli(words);
    expect(code).toBe(0);
    expect(stdout).toContain('2 shots, 0 other acts');
    for (const sensor of ['ball', 'wrist']) {
      const lines = readFileSync(inFolder(`pair.${sensor}.csv`), 'utf8').split('\n');
      expect(lines[0]).toBe('t_s,ax_mps2,ay_mps2,az_mps2,gx_radps,gy_radps,gz_radps');
      expect(lines.length).toBeGreaterThan(2000);
    }
    const truth = JSON.parse(readFileSync(inFolder('pair.truth.json'), 'utf8'));
    expect(truth.ball.shots).toHaveLength(2);
    expect(truth.wrist.shots).toHaveLength(2);
    expect(truth.wrist.player.mount).toBe('back-of-hand');
  });

  it('leaves the gyroscope columns out where the wrist sensor has none', async () => {
    await runCli(['simulate', '--scenario', 'wrist-accel-only', '--out', inFolder('accel.csv')]);
    expect(readFileSync(inFolder('accel.csv'), 'utf8').split('\n')[0]).toBe('t_s,ax_mps2,ay_mps2,az_mps2');
  });

  it('gives another practice with another seed', async () => {
    for (const seed of ['1', '2']) {
      await runCli(['simulate', '--scenario', 'net-before-ring', '--seed', seed, '--out', inFolder(`${seed}.mcap`)]);
    }
    expect(readFileSync(inFolder('1.mcap')).equals(readFileSync(inFolder('2.mcap')))).toBe(false);
  });

  it.each([
    ['no scenario', ['--out', inFolder('x.mcap')], ['expected --scenario']],
    ['no file', ['--scenario', 'air-ball'], ['expected --out']],
    ['an unknown scenario', ['--scenario', 'moon', '--out', inFolder('x.mcap')], ['"moon"', 'air-ball']],
    ['an unknown ending', ['--scenario', 'air-ball', '--out', inFolder('x.txt')], ['x.txt', '.mcap or .csv']],
    ['a file for all', ['--scenario', 'all', '--out', inFolder('x.mcap')], ['expected a folder']],
    [
      'a seed that is no number',
      ['--scenario', 'air-ball', '--seed', 'luck', '--out', 'x.mcap'],
      ["argument 'luck'", 'whole number'],
    ],
  ])('ends with 2 at wrong usage: %s', async (_, words, parts) => {
    const { code, stdout, stderr } = await runCli(['simulate', ...words]);
    expect({ code, stdout }).toEqual({ code: 2, stdout: '' });
    for (const part of parts) expect(stderr).toContain(part);
    expect(existsSync(inFolder('x.mcap'))).toBe(false);
  });

  it('ends with 1 where it cannot write', async () => {
    const { code, stderr } = await runCli(['simulate', '--scenario', 'air-ball', '--out', inFolder('none/x.mcap')]);
    expect(code).toBe(1);
    expect(stderr).toContain('the folder is not there');
  });
});

describe('a simulated recording', () => {
  it('gives the shots that the chain gives without a file between', async () => {
    const file = inFolder('direct.mcap');
    await runCli(['simulate', '--scenario', 'catch-and-shoot-net', '--seed', '3', '--out', file]);
    const { stdout } = await runCli(['analyze', file, '--json']);
    const { shots, recording } = JSON.parse(stdout);

    const practice = encodePractice(scenarioPractice('catch-and-shoot-net', 3));
    const description = decodeSensorDescription(practice.description);
    const chain = new SensorChain({ sensorName: 'direct', description, ballSettings: defaultBallSettings });
    const direct: Shot[] = [];
    const take = (events: ReturnType<SensorChain['push']>) => {
      for (const event of events) if (event.kind === 'shot' && event.shot.stage === 'final') direct.push(event.shot);
    };
    for (const { notifications } of practice.chunks) {
      for (const { bytes, hostTimeS } of notifications) take(chain.push(bytes, hostTimeS));
    }
    take(chain.finish());
    expect(direct.length).toBeGreaterThan(0);
    expect(shots).toEqual(JSON.parse(JSON.stringify(direct.map(toAnalysedShot))));
    const { sampleRateHz, timeZeroTick, samples, gapCount } = chain.summary();
    expect(recording).toMatchObject({ sampleRateHz, timeZeroTick, sampleCount: samples, gapCount, simulated: true });
    const truth = JSON.parse(readFileSync(inFolder('direct.truth.json'), 'utf8'));
    // The stamp of the first packet may be late by its jitter, well below a sample.
    expect(Math.abs(truth.timeZeroTick - recording.timeZeroTick) * description.tickUnitS).toBeLessThan(0.001);
  });

  it('agrees with the CSV recording of the same practice', async () => {
    // Stamped as the sensor stamps: the filter's delay is in the times, and said by the option.
    const { block, traits } = simulatePractice(scenarioPractice('catch-and-shoot-net', 3));
    writeFileSync(inFolder('stamped.csv'), blockToCsv(block));
    await runCli(['simulate', '--scenario', 'catch-and-shoot-net', '--seed', '3', '--out', inFolder('same.mcap')]);
    const delayMs = String(1000 * traits.filterDelayS);
    const csv = await runCli([
      'analyze',
      inFolder('stamped.csv'),
      '--placement',
      'ball',
      '--filter-delay',
      delayMs,
      '--json',
    ]);
    const mcap = await runCli(['analyze', inFolder('same.mcap'), '--json']);
    const [fromCsv, fromMcap] = [csv, mcap].map(({ stdout }) => JSON.parse(stdout)) as [Analysis, Analysis];
    expect(fromCsv.recording.sampleCount).toBe(fromMcap.recording.sampleCount);
    expect(fromCsv.recording.clippedShare).toBeCloseTo(fromMcap.recording.clippedShare, 12);
    expect(fromCsv.recording.gapCount).toBe(fromMcap.recording.gapCount);
    expect(fromCsv.shots.length).toBe(fromMcap.shots.length);
    expect(fromCsv.shots.length).toBeGreaterThan(0);
    for (const [i, shot] of fromCsv.shots.entries()) {
      const other = fromMcap.shots[i] as Analysis['shots'][number];
      expect(shot.startKind).toBe(other.startKind);
      expect(shot.contactKind).toBe(other.contactKind);
      // The notifications' tick stamps jitter and the clock smooths them; the CSV has the true instants.
      for (const time of ['pickupS', 'releaseS', 'contactS'] as const) {
        expect(Math.abs((shot[time] as number) - (other[time] as number))).toBeLessThan(0.001);
      }
      for (const name of ['spinRps', 'launchSpeedMps', 'launchAngleDeg', 'flightS', 'dipDepthM'] as const) {
        const [one, two] = [shot.measures[name], other.measures[name]];
        if (one.value === null || two.value === null) expect(one).toEqual(two);
        else expect(Math.abs(one.value - two.value)).toBeLessThan(one.standardError);
      }
    }
  });

  it('gives a document that fits the schema, and nothing else on stdout', async () => {
    for (const scenario of ['gap-at-release', 'passes-and-tosses']) {
      const file = inFolder(`${scenario}.mcap`);
      await runCli(['simulate', '--scenario', scenario, '--out', file]);
      const words = ['--distance', '5', '--ball', '6', '--hoop', '3', '--release-height', '2.2', '--json'];
      const { code, stdout } = await runCli(['analyze', file, ...words]);
      expect(code).toBe(0);
      const document: Analysis = JSON.parse(stdout);
      expect(validateAnalysis(document), JSON.stringify(validateAnalysis.errors)).toBe(true);
      const parameters = { ballSize: 6, hoopHeightM: 3, releaseHeightM: 2.2, distanceM: 5 };
      expect(document.analysis.parameters).toMatchObject(parameters);
      for (const shot of document.shots) expect(shot.releaseS !== null || shot.contactS !== null).toBe(true);
      const times = document.shots.map((shot) => shot.releaseS ?? shot.contactS ?? 0);
      expect(times).toEqual(times.toSorted((a, b) => a - b));
    }
  });

  it('that is cut off in mid-flight says so', async () => {
    const { block, traits, truth } = simulatePractice(scenarioPractice('free-throw-swish', 1));
    const endS = (truth.shots[1]?.releaseS as number) + 0.7;
    const length = block.timeS.findIndex((timeS) => timeS > endS);
    const cut = { ...block, length };
    writeFileSync(inFolder('cut.csv'), blockToCsv(cut));
    const words = [
      'analyze',
      inFolder('cut.csv'),
      '--placement',
      'ball',
      '--filter-delay',
      String(1000 * traits.filterDelayS),
    ];
    const { recording }: Analysis = JSON.parse((await runCli([...words, '--json'])).stdout);
    expect(recording.endsInFlight).toBe(true);
    expect((await runCli(words)).stdout).toContain('The recording ends while the ball was in the air');
  });

  it('without a gyroscope gives flights and times only', async () => {
    const { block } = simulatePractice(scenarioPractice('free-throw-swish', 1));
    writeFileSync(inFolder('no-gyro.csv'), blockToCsv(withoutGyro(block)));
    const { code, stdout } = await runCli(['analyze', inFolder('no-gyro.csv'), '--placement', 'ball', '--json']);
    expect(code).toBe(0);
    const document: Analysis = JSON.parse(stdout);
    expect(validateAnalysis(document), JSON.stringify(validateAnalysis.errors)).toBe(true);
    expect(document.recording.hasGyro).toBe(false);
    for (const { measures } of document.shots) {
      for (const name of ['spinRps', 'launchAngleDeg', 'axisTiltDeg'] as const) {
        expect(measures[name]).toEqual({ value: null, reason: 'no-gyro' });
      }
    }
  });
});
