import { existsSync, readdirSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { beforeEach, describe, expect, it } from 'vitest';
import { csvText } from '../../../src/cli/simulate/csv-text.ts';
import { recordingsFolder } from '../../../src/server/practice/practice-keeper.ts';
import { drawWristPlan } from '../../../src/simulate/arm/wrist-plan.ts';
import { simulatePairedPractice } from '../../../src/simulate/arm/wrist-practice.ts';
import { simulatePractice } from '../../../src/simulate/practice.ts';
import { csvLines } from '../../../src/simulate/practice-csv.ts';
import { scenarioPractice } from '../../../src/simulate/scenarios.ts';
import { projectRoot } from '../../helpers/project-root.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';
import { type CliRun, runCli } from '../run-cli.ts';

let dataFolder: string;
beforeEach(() => {
  dataFolder = temporaryFolder();
});

const run = (...words: string[]): Promise<CliRun> =>
  runCli(words, { readConfig: () => ({ port: 0, dataFolder, pageFolder: '' }), widthColumns: 140 });

async function done(...words: string[]): Promise<string> {
  const { code, stdout, stderr } = await run(...words);
  // A slow machine shows how far it is.
  expect({ code, stderr: stderr.replaceAll(/^reading .*\n/gm, '') }).toEqual({ code: 0, stderr: '' });
  return stdout;
}

const swish = path.join(projectRoot, 'recordings-synthetic', 'free-throw-swish.mcap');

describe('a recording of ours', () => {
  it('becomes a session whose recording can be analysed again, with the same numbers', async () => {
    const kept = JSON.parse(await done('import', swish, '--json'));
    expect(kept.shotCount).toBeGreaterThan(0);
    expect(readdirSync(path.join(dataFolder, recordingsFolder))).toEqual(['free-throw-swish.mcap']);
    const { shots } = JSON.parse(await done('sessions', 'show', 'last', '--json'));
    const analysis = JSON.parse(await done('analyze', swish, '--json'));
    expect(shots.map((shot: { result: { shot: object } }) => ({ ...shot.result.shot, stage: 'final' }))).toEqual(
      analysis.shots.map((shot: object) => ({ ...shot, stage: 'final' })),
    );
    expect(await run('import', swish)).toMatchObject({ code: 1, stderr: expect.stringContaining('is kept already') });
    expect(JSON.parse(await done('sessions', '--json'))).toHaveLength(1);
  });
});

describe('a CSV file', () => {
  it('becomes a session of a player who agreed, at the time that was told', async () => {
    const file = path.join(dataFolder, 'shots.csv');
    const { block, traits } = simulatePractice(scenarioPractice('free-throw-swish', 1));
    writeFileSync(file, `${[...csvLines(block, -traits.filterDelayS)].join('\n')}\n`);
    await done('players', 'add', 'Player 05');
    const words = [
      'import',
      file,
      '--placement',
      'ball',
      '--player',
      'Player 05',
      '--started',
      '2026-11-20T18:00+01:00',
    ];
    expect(await run(...words)).toMatchObject({ code: 1, stderr: expect.stringContaining('has not agreed') });
    expect(JSON.parse(await done('sessions', '--json'))).toEqual([]);
    await done('players', 'consent', 'Player 05', 'record', '--by', 'player');
    await done(...words);
    const { session, shots } = JSON.parse(await done('sessions', 'show', 'last', '--json'));
    expect(session).toMatchObject({ name: 'shots', started_s: Date.UTC(2026, 10, 20, 17) / 1000, recording: null });
    expect(shots[0].player_id).not.toBeNull();
    expect(shots[0].at_s - session.started_s).toBeCloseTo(shots[0].result.shot.releaseS, 6);
  });

  it.each([
    [['--placement', 'ball', '--started', 'yesterday'], 2, 'option \'--started\': "yesterday" is no time'],
    [
      ['--placement', 'ball', '--started', '2026-03-29T02:30', '--time-zone', 'Europe/Berlin'],
      2,
      'did not exist in Europe/Berlin',
    ],
    [['--placement', 'ball', '--time-zone', 'Berlin'], 2, 'expected a name of the IANA list'],
    [['--placement', 'ball', '--placement', 'wrist'], 2, 'once for each of the 1 files'],
    [['--placement', 'hand'], 2, 'expected ball or wrist'],
    [['--placement', 'ball', '--mapping', 'nowhere.json'], 1, 'mapping file nowhere.json cannot be read'],
    [[], 2, 'say it with --placement'],
    [['--placement', 'ball'], 1, 'cannot read'],
  ])('that cannot be taken with %j leaves nothing', async (words, code, message) => {
    const file = path.join(dataFolder, 'bad.csv');
    writeFileSync(file, 'a,b,c\n1,2,3\n');
    expect(await run('import', file, ...words)).toMatchObject({ code, stderr: expect.stringContaining(message) });
    expect(JSON.parse(await done('sessions', '--json'))).toEqual([]);
    expect(existsSync(path.join(dataFolder, recordingsFolder))).toBe(false);
  });
});

describe('CSV files of two sensors', () => {
  it('become one session, each shot once, also where a mapping file says columns and units', async () => {
    const plan = drawWristPlan(11, { shots: 2, decoys: 0 });
    const { ball, wrist } = simulatePairedPractice({ seed: 11, plan });
    const [ballFile, armFile] = [path.join(dataFolder, 'ball.csv'), path.join(dataFolder, 'arm.csv')];
    writeFileSync(ballFile, [...csvText(ball.block, ball.traits)].join(''));
    writeFileSync(armFile, [...csvText(wrist.block, wrist.traits)].join(''));
    const delays = ['--filter-delay', '0', '--filter-delay', '0'];
    const places = ['--placement', 'ball', '--placement', 'wrist'];
    const when = ['--started', '2026-11-20T18:00', '--time-zone', 'America/New_York'];
    const kept = JSON.parse(await done('import', ballFile, armFile, ...places, ...delays, ...when, '--json'));
    expect(kept).toMatchObject({ shotCount: 2, mergedCount: 2, timeZone: 'America/New_York', startFrom: 'said' });
    const { session, shots } = JSON.parse(await done('sessions', 'show', 'last', '--json'));
    expect(session).toMatchObject({ name: 'ball', time_zone: 'America/New_York' });
    expect(session.started_s).toBeCloseTo(Date.UTC(2026, 10, 20, 23) / 1000, 0);
    for (const shot of shots) {
      expect(shot.sensor_id).toBe('csv-ball');
      expect(shot.result.shot).toMatchObject({ ball: { sensorId: 'csv-ball' }, wrist: { sensorId: 'csv-wrist' } });
      expect(shot.result.shot.measures.snapPeakDegps).toMatchObject({ source: 'wrist' });
    }

    // The ball's file as another program would have written it: times in ms, forces in g, one axis turned around.
    const foreign = path.join(dataFolder, 'foreign.csv');
    const { timeS, accelMps2, gyroRadps } = ball.block;
    const g = 9.80665;
    const rows = [...timeS].map((time, at) => {
      const [ax = 0, ay = 0, az = 0] = accelMps2.subarray(3 * at, 3 * at + 3);
      const [gx = 0, gy = 0, gz = 0] = gyroRadps?.subarray(3 * at, 3 * at + 3) ?? [];
      const degrees = [gx, gy, gz].map((rate) => (rate * 180) / Math.PI);
      return ['note', 1000 * (time - ball.traits.filterDelayS) + 500, az / g, -ay / g, ax / g, ...degrees].join(',');
    });
    writeFileSync(foreign, ['why,Clock,Z,minus Y,X,p,q,r', ...rows].join('\n'));
    const mapping = path.join(dataFolder, 'columns.json');
    writeFileSync(
      mapping,
      JSON.stringify({
        version: 1,
        time: { column: 'Clock', unit: 'ms', offset: -500 },
        accel: { columns: ['X', 'minus Y', 'Z'], unit: 'g', scale: [1, -1, 1] },
        gyro: { columns: ['p', 'q', 'r'], unit: 'dps' },
      }),
    );
    const words = ['--mapping', mapping, '--placement', 'ball', '--filter-delay', '0', '--json'];
    expect(JSON.parse(await done('import', foreign, ...words))).toMatchObject({ shotCount: 2, startFrom: 'file-date' });
    const sessions = JSON.parse(await done('sessions', '--json')) as { id: string; name: string }[];
    const id = sessions.find(({ name }) => name === 'foreign')?.id ?? '';
    const { shots: again } = JSON.parse(await done('sessions', 'show', id, '--json'));
    for (const [at, shot] of again.entries()) {
      const before = shots[at].result.shot;
      expect(shot.result.shot.releaseS).toBeCloseTo(before.releaseS, 6);
      const [speed, was] = [shot.result.shot, before].map(({ measures }) => measures.launchSpeedMps.value);
      expect(speed).toBeCloseTo(was, 4);
    }

    expect(await run('import', ballFile, swish, '--placement', 'ball', '--placement', 'ball')).toMatchObject({
      code: 2,
      stderr: expect.stringContaining('expected one .mcap recording alone'),
    });
    expect(await run('import', ballFile, ballFile, ...places)).toMatchObject({
      code: 2,
      stderr: expect.stringContaining('is named twice'),
    });
    expect(await run('import', swish, '--placement', 'ball')).toMatchObject({
      code: 2,
      stderr: expect.stringContaining("option '--placement': expected with CSV only"),
    });
  });
});
