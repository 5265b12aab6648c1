import type { Command } from 'commander';
import { systemClock } from '../../devices/system-clock.ts';
import { ClubStore } from '../../sessions/database/club-store.ts';
import type { Surroundings } from '../surroundings.ts';
import { UsageError } from '../usage-error.ts';

/** Words that say which hub a command is for. */
export interface DatabaseWords {
  readonly database?: string;
  readonly club?: string;
}

/** Adds these words to a command. */
export function onHub(command: Command): Command {
  return command
    .option('--database <address>', 'PostgreSQL database of the hub; SEAMWISE_DATABASE sets it for good')
    .option('--club <id>', 'which club of the database, where it holds several');
}

/** Opens the database of a hub for one piece of work. @throws UsageError where none is named. */
export async function withHub<Result>(
  surroundings: Surroundings,
  { database, club }: DatabaseWords,
  work: (store: ClubStore) => Promise<Result>,
): Promise<Result> {
  const address = database ?? surroundings.readConfig().database;
  if (address === undefined) {
    throw new UsageError('which hub: expected --database postgres://…, or SEAMWISE_DATABASE');
  }
  const store = await ClubStore.open({
    address,
    nowS: () => systemClock.nowS(),
    ...(club !== undefined && { clubId: club }),
  });
  try {
    return await work(store);
  } finally {
    await store.close();
  }
}
