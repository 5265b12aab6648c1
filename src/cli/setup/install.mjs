import { existsSync, realpathSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import process from 'node:process';
import { runNode, setupStdio } from './child.mjs';
import { projectRoot } from './project-root.mjs';
import { withSetupLock } from './setup-lock.mjs';
import { hashOf, readStamp } from './stamp.mjs';

/** Outside node_modules, which `npm ci` deletes. */
export const lockPath = path.join(projectRoot, '.seamwise', 'setup.lock');

const stampFile = path.join(projectRoot, 'node_modules', '.seamwise-install');

/** @param {string} line */
export function say(line) {
  process.stderr.write(`seamwise set-up: ${line}\n`);
}

/** @returns {string} changes whenever the installed packages would have to */
export function installKey() {
  return hashOf([process.platform, process.arch, process.versions.modules], projectRoot, [
    'package-lock.json',
    'package.json',
  ]);
}

/** Installs the packages of the lock file unless exactly these are there already. */
export async function ensureInstalled() {
  if (readStamp(stampFile) === installKey()) return;
  await withSetupLock(lockPath, install, { say });
}

async function install() {
  const key = installKey();
  // Whoever held the lock before may have done it.
  if (readStamp(stampFile) === key) return;
  say('installing packages (npm ci)');
  // Both kinds are named, since NODE_ENV=production or an omit setting would leave them out.
  const words = [findNpm(), 'ci', '--include=dev', '--include=optional'];
  const { code, signal } = await runNode(words, { cwd: projectRoot, stdio: setupStdio });
  if (code !== 0) {
    throw new Error(
      `npm ci ended with ${signal ?? `code ${code}`}: its own message stands above. Packages come from the npm registry, so the first start needs a network; run the same command again once it is there.`,
    );
  }
  writeFileSync(stampFile, `${key}\n`);
}

/**
 * npm is started through this Node and npm's own script: `npm` itself is a shell script on some systems and
 * `npm.cmd`, which cannot be spawned, on others.
 *
 * @returns {string} path of npm-cli.js
 */
export function findNpm() {
  const given = process.env.npm_execpath;
  const binFolder = path.dirname(process.execPath);
  const candidates = [
    // Other package managers set the variable too, but do not know `ci`.
    given !== undefined && path.basename(given) === 'npm-cli.js' ? given : null,
    path.join(binFolder, 'node_modules', 'npm', 'bin', 'npm-cli.js'),
    path.join(binFolder, '..', 'lib', 'node_modules', 'npm', 'bin', 'npm-cli.js'),
    path.join(binFolder, '..', 'share', 'nodejs', 'npm', 'bin', 'npm-cli.js'),
    ...pathFolders().flatMap((folder) => [
      linkTarget(path.join(folder, 'npm')),
      path.join(folder, 'node_modules', 'npm', 'bin', 'npm-cli.js'),
    ]),
  ];
  const found = candidates.find((file) => file?.endsWith('npm-cli.js') && existsSync(file));
  if (!found) {
    throw new Error(`npm was not found beside ${process.execPath} nor on the PATH: install it, then run this again`);
  }
  return found;
}

function pathFolders() {
  const value = process.env.PATH ?? process.env.Path ?? '';
  return value.split(path.delimiter).filter((folder) => folder !== '');
}

/** @param {string} file */
function linkTarget(file) {
  return existsSync(file) ? realpathSync(file) : null;
}
