import { existsSync, readdirSync } from 'node:fs';
import path from 'node:path';
import { projectRoot } from './project-root.ts';

/** What a test that needs recordings made by others says in its name where they are absent. */
export const noOpenData = 'skipped: no data';

/**
 * Folder of recordings made by others, which are not part of the project: OPEN_DATA_DIR, else `open-data` in a folder
 * `shared` beside the project.
 *
 * @returns the folder, or null where it is not there
 */
export function openDataFolder(): string | null {
  const folder = process.env.OPEN_DATA_DIR ?? path.join(projectRoot, '..', 'shared', 'open-data');
  return existsSync(folder) ? folder : null;
}

/** @returns absolute paths of the CSV files of one collection, sorted; empty where it is not there */
export function openDataFiles(collection: string): string[] {
  const folder = openDataFolder();
  if (folder === null || !existsSync(path.join(folder, collection))) return [];
  return readdirSync(path.join(folder, collection))
    .filter((name) => name.endsWith('.csv'))
    .sort()
    .map((name) => path.join(folder, collection, name));
}
