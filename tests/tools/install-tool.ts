import { execFileSync } from 'node:child_process';
import { existsSync } from 'node:fs';
import path from 'node:path';
import process from 'node:process';
import { fileURLToPath } from 'node:url';

/**
 * Installs a tool that only one proof needs, from its own lock file, into its folder beside this file.
 *
 * @returns the folder of its packages, or null where they cannot be had.
 */
export function installTool(name: string): string | null {
  const folder = fileURLToPath(new URL(name, import.meta.url));
  const modules = path.join(folder, 'node_modules');
  if (existsSync(path.join(modules, '.package-lock.json'))) return modules;
  const words = ['ci', '--ignore-scripts', '--no-audit', '--no-fund'];
  const npm = process.env.npm_execpath;
  try {
    if (npm?.endsWith('.js')) execFileSync(process.execPath, [npm, ...words], { cwd: folder, stdio: 'pipe' });
    else execFileSync('npm', words, { cwd: folder, stdio: 'pipe' });
  } catch {
    return null;
  }
  return modules;
}
