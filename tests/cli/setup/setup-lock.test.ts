import { spawn, spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { pathToFileURL } from 'node:url';
import { describe, expect, it } from 'vitest';
import { withSetupLock } from '../../../src/cli/setup/setup-lock.mjs';
import { projectRoot } from '../../helpers/project-root.ts';
import { temporaryFolder } from '../../helpers/temporary-folder.ts';

const quick = { pollMs: 5, touchMs: 10, staleMs: 200 };

function newLock(): string {
  return path.join(temporaryFolder(), 'inside', 'setup.lock');
}

/** Process number of a process that has ended. */
function deadPid(): number {
  return spawnSync(process.execPath, ['--version']).pid;
}

describe('withSetupLock', () => {
  it('gives back what the task gives and leaves nothing behind', async () => {
    const lock = newLock();
    const inside = await withSetupLock(lock, async () => readdirSync(lock), quick);
    expect(inside).toHaveLength(1);
    expect(inside[0]).toContain(`${process.pid}@`);
    expect(existsSync(lock)).toBe(false);
  });

  it('is released when the task fails', async () => {
    const lock = newLock();
    await expect(withSetupLock(lock, () => Promise.reject(new Error('no network')), quick)).rejects.toThrow(
      'no network',
    );
    expect(existsSync(lock)).toBe(false);
  });

  it('lets one task run at a time and tells those that wait', async () => {
    const lock = newLock();
    const said: string[] = [];
    let running = 0;
    let most = 0;
    const task = async () => {
      running += 1;
      most = Math.max(most, running);
      await sleep(20);
      running -= 1;
    };
    const options = { ...quick, say: (line: string) => said.push(line) };
    await Promise.all([1, 2, 3, 4].map(() => withSetupLock(lock, task, options)));
    expect(most).toBe(1);
    expect(said).toHaveLength(3);
    expect(said[0]).toContain(`process ${process.pid}`);
  });

  it('takes over from a dead owner at once', async () => {
    const lock = newLock();
    mkdirSync(lock, { recursive: true });
    writeFileSync(path.join(lock, `${deadPid()}@${os.hostname()}@x`), '');
    // Too long for the test: only the owner's death can free the lock.
    const patient = { ...quick, staleMs: 3_600_000 };
    expect(await withSetupLock(lock, async () => 'mine', patient)).toBe('mine');
    expect(existsSync(lock)).toBe(false);
  });

  it('takes over a lock that nobody touches any more', async () => {
    const lock = newLock();
    mkdirSync(lock, { recursive: true });
    writeFileSync(path.join(lock, `${process.pid}@another-machine@x`), '');
    expect(await withSetupLock(lock, async () => 'mine', quick)).toBe('mine');
  });

  it('takes over a lock whose owner died before writing its name', async () => {
    const lock = newLock();
    mkdirSync(lock, { recursive: true });
    expect(await withSetupLock(lock, async () => 'mine', quick)).toBe('mine');
  });

  it('keeps a long task’s lock as long as its owner touches it', async () => {
    const lock = newLock();
    const order: string[] = [];
    const long = withSetupLock(
      lock,
      async () => {
        // Four times as long as an untouched lock would last.
        await sleep(4 * quick.staleMs);
        order.push('long');
      },
      quick,
    );
    await sleep(20);
    await withSetupLock(lock, async () => void order.push('short'), quick);
    await long;
    expect(order).toEqual(['long', 'short']);
  });

  it('does not take its own standstill for the owner’s', async () => {
    const lock = newLock();
    const order: string[] = [];
    const long = withSetupLock(
      lock,
      async () => {
        await sleep(20);
        // Nobody in this process touches or looks meanwhile.
        Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0, 3 * quick.staleMs);
        await sleep(20);
        order.push('long');
      },
      { ...quick, touchMs: quick.staleMs / 2 },
    );
    await withSetupLock(lock, async () => void order.push('short'), quick);
    await long;
    expect(order).toEqual(['long', 'short']);
  });

  it('keeps processes apart, killed ones among them', async () => {
    const folder = temporaryFolder();
    const lock = path.join(folder, 'setup.lock');
    const log = path.join(folder, 'log');
    const program = `
      import { appendFileSync } from 'node:fs';
      import { setTimeout as sleep } from 'node:timers/promises';
      const { withSetupLock } = await import(${JSON.stringify(pathToFileURL(path.join(projectRoot, 'src/cli/setup/setup-lock.mjs')).href)});
      await withSetupLock(${JSON.stringify(lock)}, async () => {
        appendFileSync(${JSON.stringify(log)}, 'in\\n');
        await sleep(60);
        if (process.env.DIE === '1') process.kill(process.pid, 'SIGKILL');
        appendFileSync(${JSON.stringify(log)}, 'out\\n');
      }, { pollMs: 5, staleMs: 3600000 });`;
    const start = (die: boolean) =>
      new Promise<void>((resolve) => {
        const child = spawn(process.execPath, ['--input-type=module', '-e', program], {
          env: { ...process.env, DIE: die ? '1' : '0' },
        });
        child.once('exit', () => resolve());
      });
    await Promise.all([start(true), start(false), start(true), start(false)]);
    const lines = readFileSync(log, 'utf8').trim().split('\n');
    expect(lines.filter((line) => line === 'in')).toHaveLength(4);
    expect(lines.filter((line) => line === 'out')).toHaveLength(2);
    // Whoever finishes does so before the next one enters.
    for (const [at, line] of lines.entries()) if (line === 'out') expect(lines[at - 1]).toBe('in');
  });
});
