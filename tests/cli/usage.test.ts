import { execFile } from 'node:child_process';
import { mkdirSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { promisify } from 'node:util';
import { describe, expect, it } from 'vitest';
import { projectRoot } from '../helpers/project-root.ts';
import { tempFolder } from '../helpers/temp-folder.ts';
import { header, restRows } from '../sessions/exchange/read-csv.ts';
import { madeNotifications, writeRecording } from '../sessions/recording/made-recording.ts';
import { runCli } from './run-cli.ts';

const folder = tempFolder();
const still = path.join(folder, 'still.csv');
writeFileSync(still, `${header}\n${restRows(400).join('\n')}\n`);
const mcap = path.join(folder, 'still.mcap');
await writeRecording(mcap, madeNotifications(200));

function file(name: string, text: string): string {
  const made = path.join(folder, name);
  writeFileSync(made, text);
  return made;
}

describe('wrong usage ends with 2 and says what was expected and what came', () => {
  it.each([
    ['an unknown command', ['measure'], ['measure']],
    ['an unknown option', ['analyze', still, '--plasement', 'ball'], ['--plasement', '--placement']],
    ['no command', [], ['Usage: seamwise', 'analyze']],
    ['no file', ['analyze'], ["missing required argument 'file'"]],
    ['two files', ['analyze', still, still], ['too many arguments', 'Expected 1 argument but got 2']],
    ['no placement for CSV', ['analyze', still], ['--placement ball', 'still.csv']],
    ['an unknown placement', ['analyze', still, '--placement', 'foot'], ['foot', 'ball, wrist']],
    ['no placement for CSV, the other choice', ['analyze', still], ['--placement wrist']],
    [
      'an unknown mount',
      ['analyze', still, '--placement', 'wrist', '--mount', 'foot'],
      ['foot', 'forearm, back-of-hand'],
    ],
    [
      'a mount in a ball',
      ['analyze', still, '--placement', 'ball', '--mount', 'forearm'],
      ['--mount', '--placement wrist'],
    ],
    [
      'text as a distance',
      ['analyze', still, '--distance', 'far'],
      ["argument 'far'", 'Expected a number from 0.5 to 30 m'],
    ],
    ['NaN as a distance', ['analyze', still, '--distance', 'NaN'], ["argument 'NaN'", '0.5 to 30']],
    ['a distance too far', ['analyze', still, '--distance', '300'], ["argument '300'", '0.5 to 30']],
    ['a hexadecimal distance', ['analyze', still, '--distance', '0x4'], ["argument '0x4'"]],
    ['a distance without value', ['analyze', still, '--distance'], ['--distance', 'argument missing']],
    ['a ball that is not made', ['analyze', still, '--ball', '8'], ["argument '8'", '7, 6, 5']],
    ['a hoop too high', ['analyze', still, '--hoop', '31'], ["argument '31'", '1.5 to 4']],
    ['a release below the floor', ['analyze', still, '--release-height', '-1'], ["argument '-1'", '0.5 to 4']],
    ['a sensor of a CSV recording', ['analyze', still, '--placement', 'ball', '--sensor', 'a'], ['--sensor']],
  ])('%s', async (_, words, parts) => {
    const { code, stdout, stderr } = await runCli(words);
    expect(stdout).toBe('');
    expect(code).toBe(2);
    for (const part of parts) expect(stderr).toContain(part);
  });
});

describe('what cannot be read ends with 1 and says what was expected, what came, where, and what to do', () => {
  mkdirSync(path.join(folder, 'inside'));
  it.each([
    ['a missing file', path.join(folder, 'none.csv'), ['none.csv', 'no file of that name', 'spelling']],
    ['a directory', path.join(folder, 'inside'), ['a directory', 'Name one file']],
    ['an empty file', file('empty.csv', ''), ['empty.csv', '0 bytes']],
    [
      'a wrong header',
      file('header.csv', 'time,x,y,z\n0,1,2,3\n'),
      ['line 1', 't_s,ax_mps2', 'time,x,y,z', 'Put column names'],
    ],
    ['semicolons', file('semicolon.csv', 't_s;ax_g;ay_g;az_g\n'), ['commas', 'semicolons']],
    ['no usable row', file('bad.csv', `${header}\na,b,c,d,e,f,g\n`), ['line 2', 'got "a"', 'none usable']],
    [
      'milliseconds called seconds',
      file(
        'slow.csv',
        `${header}\n${restRows(40)
          .map((row, i) => row.replace(/^[^,]+/, String(5 * i)))
          .join('\n')}\n`,
      ),
      ['0.200 a second', 't_ms'],
    ],
    ['a binary file', file('binary.csv', 'abc\0def'), ['byte 3', 'binary']],
    [
      'a .mcap that is none',
      file('other.mcap', 'this is no container, only a line of text\n'),
      ['other.mcap', 'notification', 'none'],
    ],
  ])('%s', async (_, name, parts) => {
    for (const words of [[], ['--json']]) {
      const { code, stdout, stderr } = await runCli(['analyze', name, '--placement', 'ball', ...words]);
      expect(stdout).toBe('');
      expect(code).toBe(1);
      for (const part of parts) expect(stderr).toContain(part);
    }
  });
});

describe('a recording without a shot ends with 0', () => {
  it.each([
    ['CSV', [still, '--placement', 'ball']],
    ['notifications', [mcap]],
    ['a single row', [file('one.csv', `${header}\n0,0,0,9.8,0,0,0\n`), '--placement', 'ball']],
  ])('%s', async (_, words) => {
    const { code, stdout, stderr } = await runCli(['analyze', ...words]);
    expect({ code, stderr }).toEqual({ code: 0, stderr: '' });
    expect(stdout).toContain('No shot was found.');
  });

  it('and its bad rows are told by line', async () => {
    const rows = restRows(400);
    rows[10] = 'abc,0,0,9.8,0,0,0';
    const { code, stdout } = await runCli([
      'analyze',
      file('rows.csv', [header, ...rows].join('\n')),
      '--placement',
      'ball',
    ]);
    expect(code).toBe(0);
    expect(stdout).toContain('1 row was skipped:\nline 12: column t_s: expected a number, got "abc"');
  });
});

describe('help and version', () => {
  it('go to stdout and end with 0', async () => {
    const help = await runCli(['--help']);
    expect(help.code).toBe(0);
    for (const command of ['analyze', 'simulate', 'serve', 'schema']) expect(help.stdout).toContain(command);
    const analyze = await runCli(['analyze', '--help']);
    for (const option of ['--placement', '--distance', '--ball', '--hoop', '--release-height', '--json']) {
      expect(analyze.stdout).toContain(option);
    }
    expect((await runCli(['--version'])).stdout).toMatch(/^\d+\.\d+\.\d+\n$/);
  });
});

describe('as a process of its own', () => {
  const run = promisify(execFile);
  const main = path.join(projectRoot, 'src', 'cli', 'main.ts');
  const words = ['--import', 'tsx', main];

  it('passes the exit code on', async () => {
    await expect(
      run(process.execPath, [...words, 'analyze', still, '--nothing'], { cwd: projectRoot }),
    ).rejects.toMatchObject({ code: 2 });
    await expect(run(process.execPath, [...words, 'analyze', 'none.csv'], { cwd: projectRoot })).rejects.toMatchObject({
      code: 1,
    });
  });

  it('takes it calmly when its reader goes away', async () => {
    const shell = `"${process.execPath}" --import tsx "${main}" schema | head -c 10`;
    const { stdout, stderr } = await run('sh', ['-c', shell], { cwd: projectRoot });
    expect(stdout).toHaveLength(10);
    expect(stderr).toBe('');
  });
});
