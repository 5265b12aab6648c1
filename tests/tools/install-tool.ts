import { execFileSync } from 'node:child_process';
import { copyFileSync, existsSync, mkdirSync, mkdtempSync, renameSync, rmSync } from 'node:fs';
import path from 'node:path';
import process from 'node:process';
import { fileURLToPath } from 'node:url';
import { projectRoot } from '../helpers/project-root.ts';

/**
 * Installs a tool that only some tests need, from its own lock file, into its folder beside this file.
 *
 * Test files run beside each other and may want it at the same moment, and `npm ci` begins by deleting what is there: so
 * each installs into a folder of its own, and the first that is done moves its packages into place as a whole.
 *
 * @returns the folder of its packages, or null where they cannot be had.
 */
export function installTool(name: string): string | null {
  const folder = fileURLToPath(new URL(name, import.meta.url));
  const modules = path.join(folder, 'node_modules');
  if (isWhole(modules)) return modules;
  // Ignored by git, and on the same disk, where a move is one step.
  const parent = path.join(projectRoot, '.seamwise');
  mkdirSync(parent, { recursive: true });
  const making = mkdtempSync(path.join(parent, `${name}-`));
  try {
    for (const file of ['package.json', 'package-lock.json'])
      copyFileSync(path.join(folder, file), path.join(making, file));
    installIn(making);
    // What a stopped `npm ci` of an earlier version left.
    if (existsSync(modules) && !isWhole(modules)) rmSync(modules, { recursive: true, force: true });
    if (!isWhole(modules)) renameSync(path.join(making, 'node_modules'), modules);
  } catch {
    // No network, or another one was quicker.
  } finally {
    rmSync(making, { recursive: true, force: true });
  }
  return isWhole(modules) ? modules : null;
}

/** npm writes this file last. */
function isWhole(modules: string): boolean {
  return existsSync(path.join(modules, '.package-lock.json'));
}

function installIn(folder: string): void {
  const words = ['ci', '--ignore-scripts', '--no-audit', '--no-fund'];
  const npm = process.env.npm_execpath;
  if (npm?.endsWith('.js')) execFileSync(process.execPath, [npm, ...words], { cwd: folder, stdio: 'pipe' });
  else execFileSync('npm', words, { cwd: folder, stdio: 'pipe' });
}
