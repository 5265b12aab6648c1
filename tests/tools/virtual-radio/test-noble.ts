import { existsSync } from 'node:fs';
import { createRequire } from 'node:module';
import path from 'node:path';
import type { Noble, NobleModule } from '../../../src/devices/bluetooth/noble-api.ts';
import { installTool } from '../install-tool.ts';
import { replaceHciSocket } from './replace-hci-socket.ts';

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
  const modules = installTool('noble');
  const folder = modules === null ? null : path.join(modules, ...moduleName.split('/'));
  return folder !== null && existsSync(folder) ? folder : null;
}

/** @returns a fresh noble in this process, over the fake socket. */
export function loadTestNoble(folder: string): Noble {
  replaceHciSocket();
  const withBindings = path.join(folder, 'with-custom-binding.js');
  if (existsSync(withBindings)) return (require(withBindings) as (options: object) => Noble)({});
  const { withBindings: make } = require(folder) as { withBindings: (kind: string, options: object) => Noble };
  return make('hci', {});
}
