import { randomUUID } from 'node:crypto';
import { mkdirSync, readdirSync, rmdirSync, statSync, unlinkSync, utimesSync, writeFileSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import process from 'node:process';
import { setTimeout as sleep } from 'node:timers/promises';

/**
 * Runs the task while holding a lock directory that keeps two set-ups of one folder apart.
 *
 * The lock holds one file named `<pid>@<host>@<random>`, touched while its owner lives. A waiter takes the lock over
 * when the owner's process is gone, or (a process number used again, or another machine on a shared disk) when the
 * file has not been touched for `staleMs` in which the waiter looked: while the machine slept, or was too busy for the
 * waiter, it was so for the owner too. Removing that one file decides between waiters.
 *
 * @template T
 * @param {string} lockPath
 * @param {() => Promise<T>} task
 * @param {{ pollMs?: number, touchMs?: number, staleMs?: number, say?: (line: string) => void }} [options]
 * @returns {Promise<T>}
 */
export async function withSetupLock(lockPath, task, options = {}) {
  const { pollMs = 200, touchMs = 2000, staleMs = 30_000, say = () => {} } = options;
  const ownFile = path.join(lockPath, `${process.pid}@${os.hostname()}@${randomUUID()}`);
  await acquire(lockPath, ownFile, { pollMs, staleMs, say });
  const touching = setInterval(() => ignoreMissing(() => utimesSync(ownFile, new Date(), new Date())), touchMs);
  touching.unref();
  try {
    return await task();
  } finally {
    clearInterval(touching);
    ignoreMissing(() => unlinkSync(ownFile));
    ignoreMissing(() => rmdirSync(lockPath));
  }
}

/** So many pauses between two looks count at most, however much longer it was. */
const mostPolls = 3;

/** @param {string} lockPath @param {string} ownFile @param {{ pollMs: number, staleMs: number, say: (line: string) => void }} options */
async function acquire(lockPath, ownFile, { pollMs, staleMs, say }) {
  mkdirSync(path.dirname(lockPath), { recursive: true });
  let seen = '';
  let untouchedMs = 0;
  let lookedMs = performance.now();
  let told = false;
  for (;;) {
    if (makeLock(lockPath)) {
      if (claim(ownFile)) return;
      continue;
    }
    const owner = currentOwner(lockPath);
    const nowMs = performance.now();
    untouchedMs = owner.state === seen ? untouchedMs + Math.min(nowMs - lookedMs, mostPolls * pollMs) : 0;
    seen = owner.state;
    lookedMs = nowMs;
    const stale = untouchedMs > staleMs;
    if (owner.file === null) {
      // Between making the lock and claiming it lies a moment without an owner; a long one means a crash in between.
      if (stale) ignoreMissing(() => rmdirSync(lockPath));
    } else if (stale || isGone(owner.file)) {
      const file = path.join(lockPath, owner.file);
      if (ignoreMissing(() => unlinkSync(file)) && claim(ownFile)) return;
      continue;
    } else if (!told) {
      say(`another set-up of this folder is running (process ${owner.file.split('@')[0]}); waiting for it`);
      told = true;
    }
    await sleep(pollMs);
  }
}

/** @param {string} lockPath */
function makeLock(lockPath) {
  try {
    mkdirSync(lockPath);
    return true;
  } catch (error) {
    if (codeOf(error) === 'EEXIST') return false;
    throw error;
  }
}

/** @param {string} ownFile */
function claim(ownFile) {
  return ignoreMissing(() => writeFileSync(ownFile, ''));
}

/** @param {string} lockPath @returns {{ file: string | null, state: string }} */
function currentOwner(lockPath) {
  try {
    const file = readdirSync(lockPath)[0] ?? null;
    const touchedMs = statSync(file === null ? lockPath : path.join(lockPath, file)).mtimeMs;
    return { file, state: `${file} ${touchedMs}` };
  } catch (error) {
    if (codeOf(error) === 'ENOENT') return { file: null, state: 'vanished' };
    throw error;
  }
}

/** @param {string} file */
function isGone(file) {
  const [pid, host] = file.split('@');
  if (host !== os.hostname()) return false;
  try {
    process.kill(Number(pid), 0);
    return false;
  } catch (error) {
    return codeOf(error) === 'ESRCH';
  }
}

/** @param {() => void} act @returns {boolean} whether it could be done */
function ignoreMissing(act) {
  try {
    act();
    return true;
  } catch (error) {
    if (codeOf(error) === 'ENOENT' || codeOf(error) === 'ENOTEMPTY') return false;
    throw error;
  }
}

/** @param {unknown} error */
function codeOf(error) {
  return error instanceof Error && 'code' in error ? error.code : undefined;
}
