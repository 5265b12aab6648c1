import { closeSync, copyFileSync, existsSync, fsyncSync, openSync, renameSync, rmSync } from 'node:fs';
import path from 'node:path';
import type { Command } from 'commander';
import { systemClock } from '../../devices/system-clock.ts';
import { SeamwiseError } from '../../foundation/errors.ts';
import { silentLogger } from '../../foundation/logger.ts';
import { openDataFolder } from '../../server/data-folder.ts';
import { serviceUsing } from '../../server/folder-lock.ts';
import { databaseFile } from '../../server/practice/practice-keeper.ts';
import { ClubStore } from '../../sessions/database/club-store.ts';
import { ErasedPlayers } from '../../sessions/erased-players.ts';
import { syncFolder } from '../../sessions/recording/durable-file.ts';
import type { Surroundings } from '../surroundings.ts';
import { withClub } from './open-club.ts';

/** Adds `backup` and `restore` to the program. */
export function addBackupCommands(program: Command, surroundings: Surroundings): void {
  program
    .command('backup')
    .summary('copy the database into one file, while the service runs')
    .description(
      'Copies the database, with players, sessions and shots, into one new file. Recordings are files of their own in the data folder.',
    )
    .argument('<file>', 'file to make')
    .action((file: string) =>
      withClub(surroundings, async (store) => {
        const target = path.resolve(file);
        if (existsSync(target))
          throw new SeamwiseError('output-not-written', `${target} is there already: name a new file`);
        try {
          await store.backupTo(target);
        } catch (error) {
          throw new SeamwiseError('output-not-written', `${target} cannot be written: ${inWords(error)}`);
        }
        surroundings.stdout.write(`The database is copied to ${target}.\n`);
      }),
    );
  program
    .command('restore')
    .summary('put a backup in the place of the database')
    .description(
      'Puts a backup in the place of the database. The one that is there is kept beside it. Stop the service first.',
    )
    .argument('<file>', 'a file that "seamwise backup" made')
    .action(async (file: string) => {
      const { dataFolder } = surroundings.readConfig();
      openDataFolder(dataFolder, silentLogger);
      const user = await serviceUsing(dataFolder);
      if (user) {
        throw new SeamwiseError(
          'data-folder-in-use',
          `the service at ${user} uses ${dataFolder}: stop it, then restore`,
        );
      }
      const target = path.join(dataFolder, databaseFile);
      const next = `${target}.restoring`;
      try {
        copyFileSync(path.resolve(file), next);
      } catch (error) {
        throw new SeamwiseError('database-unusable', `${file} cannot be read: ${inWords(error)}`);
      }
      try {
        // A file that is none of ours, or of a newer program, must not take the place of one that works.
        const store = await ClubStore.open({ file: next, nowS: () => systemClock.nowS() });
        for (const id of new ErasedPlayers(dataFolder).list()) await store.erasePlayer(id);
        await store.close();
        const descriptor = openSync(next, 'r+');
        fsyncSync(descriptor);
        closeSync(descriptor);
      } catch (error) {
        for (const end of ['', '-wal', '-shm']) rmSync(`${next}${end}`, { force: true });
        throw error;
      }
      const before = `${target}.before-restore`;
      for (const end of ['-wal', '-shm']) rmSync(`${next}${end}`, { force: true });
      if (existsSync(target)) {
        // Brings what still stands in the log into the file.
        await (await ClubStore.open({ file: target, nowS: () => systemClock.nowS() })).close();
        renameSync(target, before);
      }
      for (const end of ['-wal', '-shm']) rmSync(`${target}${end}`, { force: true });
      renameSync(next, target);
      await syncFolder(dataFolder);
      surroundings.stdout.write(
        `The database is restored.${existsSync(before) ? ` The one before is kept as ${before}.` : ''}\n`,
      );
    });
}

function inWords(error: unknown): string {
  return error instanceof Error ? error.message : String(error);
}
