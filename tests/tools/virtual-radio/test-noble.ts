import { execFileSync } from 'node:child_process';
import { existsSync } from 'node:fs';
import { createRequire } from 'node:module';
import path from 'node:path';
import process from 'node:process';
import { fileURLToPath } from 'node:url';
import type { Noble, NobleModule } from '../../../src/devices/bluetooth/noble-api.ts';
import { replaceHciSocket } from './replace-hci-socket.ts';

const spareFolder = fileURLToPath(new URL('../noble', import.meta.url));
const require = createRequire(import.meta.url);

/**
 * @returns folder of noble's JavaScript: the project's own optional package, or a spare copy beside the tests, which is
 *   installed without any script or compiler when it is needed; null where neither can be had.
 */
export function nobleFolder(moduleName: NobleModule = '@abandonware/noble'): string | null {
  try {
    return path.dirname(require.resolve(`${moduleName}/package.json`));
  } catch {
    return spareNobleFolder(moduleName);
  }
}

/** The spare copy, installed on first use. */
export function spareNobleFolder(moduleName: NobleModule): string | null {
  const folder = path.join(spareFolder, 'node_modules', ...moduleName.split('/'));
  if (existsSync(folder)) return folder;
  try {
    const npm = process.env.npm_execpath;
    const words = ['ci', '--ignore-scripts', '--no-audit', '--no-fund'];
    if (npm?.endsWith('.js')) execFileSync(process.execPath, [npm, ...words], { cwd: spareFolder, stdio: 'pipe' });
    else execFileSync('npm', words, { cwd: spareFolder, stdio: 'pipe' });
  } catch {
    return null;
  }
  return existsSync(folder) ? folder : null;
}

/** @returns a fresh noble in this process, over the fake socket. */
export function loadTestNoble(folder: string): Noble {
  replaceHciSocket();
  const withBindings = path.join(folder, 'with-custom-binding.js');
  if (existsSync(withBindings)) return (require(withBindings) as (options: object) => Noble)({});
  const { withBindings: make } = require(folder) as { withBindings: (kind: string, options: object) => Noble };
  return make('hci', {});
}
