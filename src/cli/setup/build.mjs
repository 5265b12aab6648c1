import { chmodSync, cpSync, existsSync, mkdirSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import process from 'node:process';
import { runNode, setupStdio } from './child.mjs';
import { installKey, lockPath, say } from './install.mjs';
import { projectRoot } from './project-root.mjs';
import { withSetupLock } from './setup-lock.mjs';
import { filesUnder, hashOf, readStamp } from './stamp.mjs';

const dist = path.join(projectRoot, 'dist');
const next = path.join(projectRoot, '.seamwise', 'dist-next');
const last = path.join(projectRoot, '.seamwise', 'dist-last');
const stampFile = path.join(dist, '.sources');
const shebang = '#!/usr/bin/env node\n';

/** Files beside the TypeScript that running code reads. */
const copied = /\.(json|svg|sql|txt)$/;

/** Compiles the commands, the service and the page into dist/ unless dist/ already comes from exactly these sources. */
export async function ensureBuilt() {
  if (readStamp(stampFile) === sourceKey()) return;
  await withSetupLock(lockPath, build, { say });
}

/** Figures of a proof that the page tells: what is built holds them. */
const toldFigures = 'tests/proofs/coaching-verdicts.json';

function sourceKey() {
  return hashOf([installKey()], projectRoot, ['tsconfig.json', toldFigures, ...filesUnder(projectRoot, 'src')]);
}

async function build() {
  const key = sourceKey();
  if (readStamp(stampFile) === key) return;
  say('building page and commands');
  rmSync(next, { recursive: true, force: true });
  mkdirSync(next, { recursive: true });
  // Types are checked by `npm test`; a start need not wait for it.
  await step('compiling', ['node_modules/typescript/bin/tsc', '-p', '.', '--noCheck', '--outDir', next]);
  if (existsSync(path.join(projectRoot, 'src/dashboard/vite.config.ts'))) {
    const page = ['node_modules/vite/bin/vite.js', 'build', '--config', 'src/dashboard/vite.config.ts'];
    const out = ['--outDir', path.join(next, 'dashboard'), '--emptyOutDir', '--logLevel', 'warn'];
    await step('building the page', [...page, ...out]);
  }
  copyDataFiles();
  makeExecutable(path.join(next, 'cli', 'main.js'));
  writeFileSync(path.join(next, '.sources'), `${key}\n`);
  // A failed build never gets here, and a running service is without its files only for a moment.
  rmSync(last, { recursive: true, force: true });
  if (existsSync(dist)) renameSync(dist, last);
  renameSync(next, dist);
  rmSync(last, { recursive: true, force: true });
}

/** @param {string} what @param {string[]} nodeArguments */
async function step(what, nodeArguments) {
  const { code, signal } = await runNode(nodeArguments, { cwd: projectRoot, stdio: setupStdio });
  if (code !== 0) throw new Error(`${what} ended with ${signal ?? `code ${code}`}: the messages stand above`);
}

function copyDataFiles() {
  for (const file of filesUnder(projectRoot, 'src')) {
    const base = path.basename(file);
    if (!copied.test(base) || base.startsWith('tsconfig') || file.startsWith('src/dashboard/')) continue;
    cpSync(path.join(projectRoot, file), path.join(next, path.relative('src', file)));
  }
}

/** @param {string} file */
function makeExecutable(file) {
  if (!existsSync(file)) return;
  const text = readFileSync(file, 'utf8');
  if (!text.startsWith('#!')) writeFileSync(file, shebang + text);
  if (process.platform !== 'win32') chmodSync(file, 0o755);
}
