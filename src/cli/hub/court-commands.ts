import { readFileSync } from 'node:fs';
import type { Command } from 'commander';
import { silentLogger } from '../../foundation/logger.ts';
import { openDataFolder } from '../../server/data-folder.ts';
import { hubAddress, readHubAccess, removeHubAccess, writeHubAccess } from '../../server/hub/hub-access-file.ts';
import { findOne, withClub } from '../club/open-club.ts';
import type { Surroundings } from '../surroundings.ts';
import { layOutTable } from '../table/text-width.ts';
import { UsageError } from '../usage-error.ts';
import { type DatabaseWords, onHub, withHub } from './with-hub.ts';

interface ConnectWords {
  readonly keyFile?: string;
  readonly plain?: boolean;
}

/** Adds to `hub` what a hub knows of its courts, and a court of its hub. */
export function addCourtCommands(hub: Command, surroundings: Surroundings): void {
  onHub(hub.command('add-court'))
    .summary('let a court hand over to this hub')
    .description('Makes a key for a court and prints it, once: the hub keeps only a hash of it.')
    .argument('<name>', 'what the court is called, such as "North 2"')
    .action(async (name: string, words: DatabaseWords) => {
      await withHub(surroundings, words, async (store) => {
        const taken = (await store.courts.list()).some((each) => each.name === name && each.revoked_s === null);
        if (taken)
          throw new UsageError(`a court is called "${name}" already: choose another name, or take its key back`);
        const { key } = await store.courts.make(name);
        surroundings.stdout.write(`${key}\n`);
        surroundings.stderr.write(
          `This is the key of "${name}" and is not shown again. On the court: seamwise hub connect <address of this hub>\n`,
        );
      });
    });

  onHub(hub.command('courts'))
    .summary('list the courts of this hub')
    .action(async (words: DatabaseWords) => {
      await withHub(surroundings, words, async (store) => {
        const courts = await store.courts.list();
        if (courts.length === 0) {
          surroundings.stdout.write('No court hands over to this hub: "hub add-court" makes a key for one.\n');
          return;
        }
        const column = (title: string, cell: (court: (typeof courts)[number]) => string) => ({
          title,
          cells: courts.map(cell),
        });
        const day = (atS: number) => new Date(atS * 1000).toISOString().slice(0, 10);
        const lines = layOutTable(
          column('court', ({ name }) => name),
          [
            column('since', ({ made_s }) => day(made_s)),
            column('taken back', ({ revoked_s }) => (revoked_s === null ? '' : day(revoked_s))),
            column('id', ({ id }) => id),
          ],
          surroundings.widthColumns,
        );
        surroundings.stdout.write(`${lines.join('\n')}\n`);
      });
    });

  onHub(hub.command('remove-court'))
    .summary('take the key of a court back')
    .description('The key opens nothing any more. What the court handed over stays.')
    .argument('<court>', 'name, or the beginning of the id')
    .action(async (word: string, words: DatabaseWords) => {
      await withHub(surroundings, words, async (store) => {
        const courts = (await store.courts.list()).filter(({ revoked_s }) => revoked_s === null);
        const court = findOne('court', courts, word, ({ name }) => name);
        await store.courts.revoke(court.id);
        surroundings.stdout.write(`The key of "${court.name}" opens nothing any more.\n`);
      });
    });

  hub
    .command('connect')
    .summary('have this court hand over to a hub')
    .description(
      'Keeps the address of the hub and the key that it gave this court. The key is read from standard input, or from a file. A ' +
        'service that runs takes it at its next start. Of players only those are handed over who agreed to it ("players consent <player> upload --by <role>").',
    )
    .argument('<address>', 'address of the hub, such as https://hub.example/')
    .option('--key-file <file>', 'file with the key')
    .option('--plain', 'let key and shots go over the network as they are, by http')
    .action(async (address: string, { keyFile, plain = false }: ConnectWords) => {
      const { dataFolder } = surroundings.readConfig();
      const access = { address: hubAddress(address, plain), key: readKey(keyFile) };
      openDataFolder(dataFolder, silentLogger);
      const { HubClient } = await import('../../server/hub/hub-client.ts');
      const client = new HubClient(access);
      let says: string;
      try {
        says = `The hub knows this court as "${(await client.court()).name}".`;
      } catch (error) {
        // It may be away now; a key that it does not know would be kept for nothing.
        if (error instanceof Error && 'status' in error) throw new UsageError(error.message);
        says = `${error instanceof Error ? error.message : String(error)}. It is tried again by the service.`;
      }
      writeHubAccess(dataFolder, access);
      surroundings.stdout.write(`${says}\n`);
    });

  hub
    .command('disconnect')
    .summary('have this court hand over to no hub')
    .action(() => {
      removeHubAccess(surroundings.readConfig().dataFolder);
      surroundings.stdout.write('This court hands over to no hub. What the hub has stays there.\n');
    });

  hub
    .command('status')
    .summary('how far this court has handed over')
    .action(async () => {
      await withClub(surroundings, async (store, dataFolder) => {
        const access = readHubAccess(dataFolder);
        if (access === null) {
          surroundings.stdout.write('This court hands over to no hub.\n');
          return;
        }
        const waiting = await store.hub.waiting(await store.hub.position('handed'));
        const { count, reason } = await store.hub.parked();
        const parked = count === 0 ? '' : ` ${count} were refused, the last one because: ${reason}`;
        surroundings.stdout.write(`Hub: ${access.address}. ${waiting} changes wait to be handed over.${parked}\n`);
      });
    });
}

function readKey(file: string | undefined): string {
  let text: string;
  try {
    text = readFileSync(file ?? 0, 'utf8').trim();
  } catch (error) {
    const why = error instanceof Error ? error.message : String(error);
    throw new UsageError(`the key of this court could not be read: ${why}. Give it by --key-file or standard input.`);
  }
  if (/^\S{20,200}$/.test(text)) return text;
  throw new UsageError('expected the key that "hub add-court" printed, and nothing else');
}
