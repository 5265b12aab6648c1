import { existsSync } from 'node:fs';
import path from 'node:path';
import { systemClock } from '../../devices/system-clock.ts';
import { silentLogger } from '../../foundation/logger.ts';
import { openDataFolder } from '../../server/data-folder.ts';
import { databaseFile } from '../../server/practice/practice-keeper.ts';
import { ClubStore } from '../../sessions/database/club-store.ts';
import type { Actor } from '../../sessions/database/store-context.ts';
import type { Surroundings } from '../surroundings.ts';
import { UsageError } from '../usage-error.ts';

/** Who types commands, in the log of changes. */
export const commandLine: Actor = { role: 'host', name: 'command line' };

/** Opens the database of the data folder for one piece of work. The service may run meanwhile. */
export async function withClub<Result>(
  surroundings: Surroundings,
  work: (store: ClubStore, dataFolder: string) => Promise<Result>,
): Promise<Result> {
  const { dataFolder } = surroundings.readConfig();
  openDataFolder(dataFolder, silentLogger);
  const store = await ClubStore.open({ file: path.join(dataFolder, databaseFile), nowS: () => systemClock.nowS() });
  try {
    return await work(store, dataFolder);
  } finally {
    await store.close();
  }
}

/**
 * Finds what a person means by the beginning of an id or by a name.
 *
 * @throws UsageError when nothing or more than one thing fits.
 */
export function findOne<Item extends { readonly id: string }>(
  what: string,
  items: readonly Item[],
  word: string,
  nameOf: (item: Item) => string,
): Item {
  const exact = items.filter((item) => item.id === word || nameOf(item) === word);
  const found = exact.length > 0 ? exact : items.filter(({ id }) => word.length >= 4 && id.startsWith(word));
  const [only] = found;
  if (only && found.length === 1) return only;
  const known = items.slice(0, 20).map((item) => nameOf(item) || item.id);
  throw new UsageError(
    found.length > 1
      ? `"${word}" fits ${found.length} ${what}s: give more of the id`
      : `there is no ${what} "${word}": expected the name or at least 4 characters of the id${known.length > 0 ? `, such as of ${known.join(', ')}` : ''}`,
  );
}

/** @returns whether the file is there, for messages that must not make one. */
export function hasClub(surroundings: Surroundings): boolean {
  return existsSync(path.join(surroundings.readConfig().dataFolder, databaseFile));
}
