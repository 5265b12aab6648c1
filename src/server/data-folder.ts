import { mkdirSync, statSync } from 'node:fs';
import path from 'node:path';
import { SeamwiseError } from '../foundation/errors.ts';
import type { Logger } from '../foundation/logger.ts';

/** What the default place of the data depends on; the caller reads it from its environment. */
export interface DataFolderHints {
  readonly platform: NodeJS.Platform;
  readonly homeFolder: string;
  /** XDG_DATA_HOME, where set. */
  readonly xdgDataHome: string | undefined;
  /** LOCALAPPDATA, where set. */
  readonly localAppData: string | undefined;
}

/** @returns the folder where the user's own data lies on this platform, by that platform's custom. */
export function defaultDataFolder(hints: DataFolderHints): string {
  const { platform, homeFolder, xdgDataHome, localAppData } = hints;
  if (platform === 'win32') {
    return path.win32.join(localAppData || path.win32.join(homeFolder, 'AppData', 'Local'), 'Seamwise');
  }
  if (platform === 'darwin') return path.posix.join(homeFolder, 'Library', 'Application Support', 'Seamwise');
  // The XDG base directory specification says that a relative path there is to be ignored.
  const base = xdgDataHome?.startsWith('/') ? xdgDataHome : path.posix.join(homeFolder, '.local', 'share');
  return path.posix.join(base, 'seamwise');
}

/**
 * Makes sure that the data folder is there, for its user alone when it is made here. The rights of a folder that
 * was there already are its owner's business: they are not changed, only told when others can read it.
 *
 * @throws SeamwiseError `data-folder` when the path is no folder or cannot be made.
 */
export function openDataFolder(folder: string, logger: Logger): void {
  try {
    mkdirSync(folder, { recursive: true, mode: 0o700 });
  } catch (error) {
    const isFile = error instanceof Error && 'code' in error && error.code === 'EEXIST';
    const why = error instanceof Error ? error.message : String(error);
    throw new SeamwiseError(
      'data-folder',
      isFile
        ? `data folder ${folder}: expected a folder, found a file. Name another folder.`
        : `data folder ${folder} could not be made: ${why}. Name a folder you may write to.`,
    );
  }
  const mode = statSync(folder).mode & 0o777;
  if (process.platform !== 'win32' && (mode & 0o077) !== 0) {
    logger.warn(
      { folder, mode: mode.toString(8) },
      'the data folder can be entered by other users of this machine; "chmod 700" closes it',
    );
  }
}
