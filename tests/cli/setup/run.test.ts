import { spawn, spawnSync } from 'node:child_process';
import { once } from 'node:events';
import { existsSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { pathToFileURL } from 'node:url';
import { describe, expect, it } from 'vitest';
import { findNpm } from '../../../src/cli/setup/install.mjs';
import { projectRoot } from '../../helpers/project-root.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';

const setup = path.join(projectRoot, 'src', 'cli', 'setup');

describe('the entry of the npm scripts', () => {
  it('refuses an unknown command before it sets anything up', () => {
    const { status, stdout, stderr } = spawnSync(process.execPath, [path.join(setup, 'run.mjs'), 'toString'], {
      encoding: 'utf8',
    });
    expect(status).toBe(1);
    expect(stdout).toBe('');
    expect(stderr).toContain('unknown command "toString": expected one of start, seamwise, test, bench, prove');
  });

  it('refuses a Node that is too old and says which one is needed', () => {
    const run = pathToFileURL(path.join(setup, 'run.mjs')).href;
    const program = `Object.defineProperty(process, 'versions', { value: { ...process.versions, node: '20.18.9' } });
      await import(${JSON.stringify(run)});`;
    const { status, stderr } = spawnSync(process.execPath, ['--input-type=module', '-e', program], {
      encoding: 'utf8',
    });
    expect(status).toBe(1);
    expect(stderr).toContain('seamwise needs Node 20.19 or newer; this is 20.18.9');
  });
});

describe('findNpm', () => {
  it('finds npm’s own script, with and without a hint', () => {
    expect(existsSync(findNpm())).toBe(true);
    const hint = process.env.npm_execpath;
    try {
      process.env.npm_execpath = path.join(path.sep, 'elsewhere', 'other-manager.js');
      expect(path.basename(findNpm())).toBe('npm-cli.js');
    } finally {
      if (hint === undefined) delete process.env.npm_execpath;
      else process.env.npm_execpath = hint;
    }
  });
});

describe('runNode and endAs', () => {
  const child = pathToFileURL(path.join(setup, 'child.mjs')).href;
  const parent = (inner: string) => `
    const { endAs, runNode } = await import(${JSON.stringify(child)});
    endAs(await runNode(['-e', ${JSON.stringify(inner)}, '--', 'two words', '--flag'], { stdio: 'inherit' }));`;

  it('pass on arguments, output and the exit code', () => {
    const inner = 'console.log(JSON.stringify(process.argv.slice(1))); process.exit(7);';
    const { status, stdout } = spawnSync(process.execPath, ['--input-type=module', '-e', parent(inner)], {
      encoding: 'utf8',
    });
    expect(JSON.parse(stdout)).toEqual(['two words', '--flag']);
    expect(status).toBe(7);
  });

  it.skipIf(process.platform === 'win32')('pass on a signal and end by it', async () => {
    const outer = spawn(process.execPath, [
      '--input-type=module',
      '-e',
      parent("console.log('up'); setInterval(() => {}, 1e6);"),
    ]);
    await once(outer.stdout, 'data');
    outer.kill('SIGTERM');
    const [code, signal] = await once(outer, 'exit');
    expect([code, signal]).toEqual([null, 'SIGTERM']);
  });

  it.skipIf(process.platform === 'win32')('end the child when npm’s shell between is killed', async () => {
    const folder = temporaryFolder();
    const program = path.join(folder, 'parent.mjs');
    writeFileSync(program, parent('console.log(process.pid); setInterval(() => {}, 1e6);'));
    // The second command keeps the shell from becoming the first one.
    const shell = spawn('sh', ['-c', `"${process.execPath}" "${program}"; true`], {
      env: { ...process.env, npm_lifecycle_event: 'start' },
    });
    const [output] = await once(shell.stdout, 'data');
    const inner = Number(String(output));
    expect(isRunning(inner)).toBe(true);
    shell.kill('SIGTERM');
    // The pipe closes when the last process that holds it has ended.
    await once(shell, 'close');
    expect(isRunning(inner)).toBe(false);
  });

  it.skipIf(process.platform === 'win32')('let the child end in its own way on a signal', async () => {
    const inner = "process.on('SIGINT', () => process.exit(3)); console.log('up'); setInterval(() => {}, 1e6);";
    const outer = spawn(process.execPath, ['--input-type=module', '-e', parent(inner)]);
    await once(outer.stdout, 'data');
    outer.kill('SIGINT');
    const [code, signal] = await once(outer, 'exit');
    expect([code, signal]).toEqual([3, null]);
  });
});

function isRunning(pid: number): boolean {
  try {
    return process.kill(pid, 0);
  } catch {
    return false;
  }
}
