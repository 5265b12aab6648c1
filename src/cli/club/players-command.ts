import path from 'node:path';
import { type Command, Option } from 'commander';
import { claimSpinReferences, spinReferenceFile } from '../../server/spin-references.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { ConsentScope, Player, PlayerWords } from '../../sessions/database/player-records.ts';
import { ageBands, consentScopes, hands } from '../../sessions/database/tables.ts';
import { JsonWristCalibrationStore } from '../../sessions/wrist-calibration/json-wrist-calibration-store.ts';
import { numberWithin, wholeNumberWithin } from '../option-values.ts';
import type { Surroundings } from '../surroundings.ts';
import { layOutTable } from '../table/text-width.ts';
import { UsageError } from '../usage-error.ts';
import { erasePlayer, requireNothingLeft } from './erase-player.ts';
import { commandLine, findOne, withClub } from './open-club.ts';

interface PlayerOptions {
  readonly name?: string;
  readonly hand?: PlayerWords['hand'];
  readonly age?: PlayerWords['age_band'];
  readonly ball?: number;
  readonly hoop?: number;
  readonly units?: PlayerWords['units'];
  readonly notes?: string;
}

/** Adds `players` to the program. */
export function addPlayersCommand(program: Command, surroundings: Surroundings): void {
  const players = program.command('players').summary('players of the club, and what they agreed to');
  players
    .command('list', { isDefault: true })
    .summary('list the players')
    .option('--json', 'print JSON')
    .action(({ json }: { json?: true }) => withClub(surroundings, (store) => list(store, surroundings, json === true)));
  addWords(
    players
      .command('add')
      .summary('add a player')
      .argument('<name>', 'what the player is called here; no need for the real name'),
  ).action((name: string, words: PlayerOptions) =>
    withClub(surroundings, async (store) => {
      await store.players.add(commandLine, { ...columns(words), pseudonym: name });
      surroundings.stdout.write(
        `${name} is added. Nothing of this player is recorded before the consent is noted: seamwise players consent "${name}" record --by <who>\n`,
      );
    }),
  );
  addWords(players.command('change').summary('change what is known of a player').argument('<player>', 'name or id'))
    .option('--name <name>', 'another name')
    .action((player: string, words: PlayerOptions) =>
      withClub(surroundings, async (store, dataFolder) => {
        const { id, pseudonym } = await findPlayer(store, player);
        if (words.name !== undefined) {
          const references = new JsonWristCalibrationStore(path.join(dataFolder, spinReferenceFile));
          await claimSpinReferences(references, store.players);
        }
        const rename = words.name === undefined ? {} : { pseudonym: words.name };
        await store.players.change(commandLine, id, { ...columns(words), ...rename });
        surroundings.stdout.write(`${pseudonym} is changed.\n`);
      }),
    );
  players
    .command('consent')
    .summary('note that a player, or who may speak for the player, agreed')
    .argument('<player>', 'name or id')
    .argument('<scope>', consentScopes.join(', '))
    .requiredOption('--by <role>', 'who agreed, such as player or parent')
    .action((player: string, scope: ConsentScope, { by }: { by: string }) =>
      withClub(surroundings, async (store) => {
        const { id, pseudonym } = await findPlayer(store, player);
        await store.players.giveConsent(commandLine, id, scope, by);
        surroundings.stdout.write(`Noted: ${pseudonym}, ${scope}, given by ${by}.\n`);
      }),
    );
  players
    .command('sensor')
    .summary('note whose a sensor is')
    .description(
      'Notes whose a sensor is. One on the arm then uses the reference shots of that player for the backspin (see "seamwise spin-reference").',
    )
    .argument('<sensor>', 'id, or its beginning, of a sensor that was in a practice')
    .argument('[player]', "name or id; without one the sensor is nobody's")
    .action((sensor: string, player: string | undefined) =>
      withClub(surroundings, async (store) => {
        const found = findOne('sensor', await store.players.sensors(), sensor, ({ label }) => label);
        const owner = player === undefined ? null : await findPlayer(store, player);
        await store.players.changeSensor(commandLine, found.id, { owner_player_id: owner?.id ?? null });
        surroundings.stdout.write(
          `Sensor ${found.id} is ${owner === null ? "nobody's" : `that of ${owner.pseudonym}`}.\n`,
        );
      }),
    );
  players
    .command('withdraw')
    .summary('end what a player agreed to')
    .argument('<player>', 'name or id')
    .argument('<scope>', consentScopes.join(', '))
    .action((player: string, scope: ConsentScope) =>
      withClub(surroundings, async (store) => {
        const { id, pseudonym } = await findPlayer(store, player);
        await store.players.withdrawConsent(commandLine, id, scope);
        surroundings.stdout.write(
          `${pseudonym}: consent to ${scope} has ended. What is there stays until it is deleted.\n`,
        );
      }),
    );
  players
    .command('erase')
    .summary('delete everything of a player, for good')
    .description(
      'Deletes everything of a player for good: shots, sets, consents, what the log of changes remembers, and what of the player lies in recordings, starred or not, reference shots, and older copies of the database in the data folder. ' +
        'A backup that is restored later loses it again. Copies elsewhere are yours to delete.',
    )
    .argument('<player>', 'name or id')
    .option('--yes', 'do it')
    .action((player: string, { yes }: { yes?: true }) =>
      withClub(surroundings, async (store, dataFolder) => {
        const { id, pseudonym } = await findPlayer(store, player);
        if (!yes) {
          const shots = await store.shots.all({ playerId: id });
          throw new UsageError(
            `this would delete ${pseudonym} with ${shots.length} shots for good, in recordings too: say --yes to do it`,
          );
        }
        const { deletedRecordings, cutRecordings, deletedCopies, remaining } = await erasePlayer(store, dataFolder, id);
        surroundings.stdout.write(
          `${pseudonym} is deleted; ${deletedRecordings} recordings deleted, ${cutRecordings} cut, ${deletedCopies} older copies of the database deleted. Delete copies, exports and backups elsewhere yourself.\n`,
        );
        requireNothingLeft(remaining, dataFolder);
        surroundings.stdout.write('Every file of the data folder was looked through: nothing is left there.\n');
      }),
    );
}

function addWords(command: Command): Command {
  return command
    .addOption(new Option('--hand <hand>', 'shooting hand').choices([...hands]))
    .addOption(new Option('--age <band>', 'age band').choices([...ageBands]))
    .option('--ball <size>', 'ball size 7, 6 or 5', wholeNumberWithin(5, 7))
    .option('--hoop <m>', 'height of the ring, m', numberWithin(1.5, 4, 'm', '3.05'))
    .addOption(new Option('--units <units>', 'units of the screens').choices(['metric', 'us']))
    .option('--notes <text>', 'anything else');
}

/** @throws UsageError when no player or more than one fits. */
export async function findPlayer(store: ClubStore, word: string): Promise<Player> {
  return findOne('player', await store.players.list(), word, ({ pseudonym }) => pseudonym);
}

function columns({ hand, age, ball, hoop, units, notes }: PlayerOptions): Partial<PlayerWords> {
  return {
    ...(hand !== undefined && { hand }),
    ...(age !== undefined && { age_band: age }),
    ...(ball !== undefined && { ball_size: ball }),
    ...(hoop !== undefined && { hoop_height_m: hoop }),
    ...(units !== undefined && { units }),
    ...(notes !== undefined && { notes }),
  };
}

async function list(store: ClubStore, surroundings: Surroundings, asJson: boolean): Promise<void> {
  const rows = await Promise.all(
    (await store.players.list()).map(async (player) => {
      const consents = await store.players.consents(player.id);
      const agreed = consentScopes.filter((scope) =>
        consents.some((each) => each.scope === scope && each.withdrawn_s === null),
      );
      return { player, agreed };
    }),
  );
  if (asJson) {
    const document = rows.map(({ player: { club_id: _, ...player }, agreed }) => ({ ...player, consents: agreed }));
    surroundings.stdout.write(`${JSON.stringify(document, null, 2)}\n`);
    return;
  }
  if (rows.length === 0) {
    surroundings.stdout.write('No players yet. "seamwise players add <name>" adds one.\n');
    return;
  }
  const column = (title: string, cell: (row: (typeof rows)[number]) => string) => ({ title, cells: rows.map(cell) });
  const lines = layOutTable(
    column('player', ({ player }) => player.pseudonym),
    [
      column('hand', ({ player }) => player.hand),
      column('age', ({ player }) => player.age_band),
      column('ball', ({ player }) => String(player.ball_size)),
      column('ring m', ({ player }) => player.hoop_height_m.toFixed(2)),
      column('agreed to', ({ agreed }) => agreed.join(', ') || 'nothing'),
      column('id', ({ player }) => player.id),
    ],
    surroundings.widthColumns,
  );
  surroundings.stdout.write(`${lines.join('\n')}\n`);
}
