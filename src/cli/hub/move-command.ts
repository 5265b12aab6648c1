import path from 'node:path';
import type { Command } from 'commander';
import { systemClock } from '../../devices/system-clock.ts';
import { SeamwiseError } from '../../foundation/errors.ts';
import { serviceUsing } from '../../server/folder-lock.ts';
import { isPostgresAddress } from '../../sessions/database/postgres/postgres-address.ts';
import type { Surroundings } from '../surroundings.ts';
import { UsageError } from '../usage-error.ts';

/** Adds `hub move`. */
export function addMoveCommand(hub: Command, surroundings: Surroundings): void {
  hub
    .command('move')
    .summary('move a database file to PostgreSQL')
    .description(
      'Copies everything of a club from its database file to a PostgreSQL database, in one piece: all of it or nothing. Every row is read ' +
        'back and compared before it counts. The file stays as it is. Recordings are files of their own in the data folder and stay there. ' +
        'Stop the service first.',
    )
    .argument('<file>', 'the club.db of a data folder')
    .requiredOption('--to <address>', 'such as postgres://user@host/database; a password may stand in PGPASSWORD')
    .option('--beside', 'put the club beside others that the database holds already')
    .action(async (file: string, { to, beside = false }: { to: string; beside?: boolean }) => {
      if (!isPostgresAddress(to)) {
        throw new UsageError("option '--to': expected an address that begins with postgres://");
      }
      const folder = path.dirname(path.resolve(file));
      const user = await serviceUsing(folder);
      if (user) {
        throw new SeamwiseError('data-folder-in-use', `the service at ${user} uses ${folder}: stop it, then move`);
      }
      // Other commands need no client of PostgreSQL.
      const { moveClub } = await import('../../sessions/database/postgres/move-club.ts');
      const { clubId, tables } = await moveClub({
        file,
        address: to,
        nowS: () => systemClock.nowS(),
        beside,
        say: (line) => surroundings.stdout.write(`${line}\n`),
      });
      const rows = tables.reduce((sum, table) => sum + table.rows, 0);
      surroundings.stdout.write(
        `The club ${clubId} is moved: ${rows} rows of ${tables.length} tables, each read back and found the same. ${file} is as it was.\n`,
      );
    });
}
