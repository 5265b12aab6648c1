import { existsSync, readdirSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { beforeEach, describe, expect, it } from 'vitest';
import { recordingsFolder } from '../../../src/server/practice/practice-keeper.ts';
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
  expect({ code, stderr }).toEqual({ code: 0, stderr: '' });
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
    [['--placement', 'ball', '--started', 'yesterday'], 2, 'expected an instant with its zone'],
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
