import { type Command, Option } from 'commander';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import { missSides, outcomes } from '../../sessions/database/tables.ts';
import { wholeNumberWithin } from '../option-values.ts';
import type { Surroundings } from '../surroundings.ts';
import { UsageError } from '../usage-error.ts';
import { commandLine, findOne, withClub } from './open-club.ts';
import { findPlayer } from './players-command.ts';
import { findSession, instantText } from './session-text.ts';

const sessionWord = 'id, or its beginning; "last" is the newest';

interface TagWords {
  readonly from: number;
  readonly to: number;
  readonly side?: (typeof missSides)[number];
}

/** Adds to `sessions` the commands that change what is said of shots and sets, and those that look at changes and undo them. */
export function addEditCommands(sessions: Command, surroundings: Surroundings): void {
  withRange(
    sessions
      .command('assign')
      .summary('give the shots of a session to a player')
      .argument('<session>', sessionWord)
      .argument('<player>', 'name or id; "nobody" takes them away'),
  ).action((word: string, player: string, { from, to }: TagWords) =>
    withClub(surroundings, async (store) => {
      const owner = player === 'nobody' ? null : await findPlayer(store, player);
      const meant = await shotsOf(store, word, from, to);
      await store.shots.assign(commandLine, meant, owner?.id ?? null);
      surroundings.stdout.write(
        `${meant.length} shots are now ${owner === null ? "nobody's" : `${owner.pseudonym}'s`}.\n`,
      );
    }),
  );
  withRange(
    sessions
      .command('tag')
      .summary('say what became of shots')
      .argument('<session>', sessionWord)
      .argument('<outcome>', outcomes.join(', ')),
  )
    .addOption(new Option('--side <side>', 'where a miss went').choices([...missSides]))
    .action((word: string, outcome: (typeof outcomes)[number], { from, to, side }: TagWords) =>
      withClub(surroundings, async (store) => {
        const meant = await shotsOf(store, word, from, to);
        await store.shots.tag(commandLine, meant, { outcome, ...(side !== undefined && { missSide: side }) });
        surroundings.stdout.write(`${meant.length} shots: ${[outcome, side].filter(Boolean).join(', ')}.\n`);
      }),
    );
  sessions
    .command('total')
    .summary('say how many shots of a set were made')
    .argument('<session>', sessionWord)
    .argument('<set>', 'number of the set, as "show" counts them', wholeNumberWithin(1, 10_000))
    .argument('<made/taken>', 'such as 31/50')
    .action((word: string, number: number, words: string) =>
      withClub(surroundings, async (store) => {
        const [, made, attempted] = /^(\d{1,6})\/(\d{1,6})$/.exec(words) ?? [];
        if (made === undefined || attempted === undefined) {
          throw new UsageError(`"${words}" is no total: expected shots made and taken, such as 31/50`);
        }
        const { id } = await findSession(store, word);
        const sets = await store.sessions.sets(id);
        const set = sets[number - 1];
        if (!set) throw new UsageError(`there is no set ${number}: the session has ${sets.length}`);
        const total = { made: Number(made), attempted: Number(attempted) };
        await store.sessions.changeSet(commandLine, set.id, { total });
        surroundings.stdout.write(`Set ${number}: ${made} of ${attempted}.\n`);
      }),
    );
  sessions
    .command('changes')
    .summary('who changed what, newest first')
    .option('--limit <count>', 'how many', wholeNumberWithin(1, 1000), 20)
    .option('--json', 'print JSON')
    .action(({ limit, json }: { limit: number; json?: true }) =>
      withClub(surroundings, async (store) => {
        const changes = await store.edits.latest(limit);
        if (json) surroundings.stdout.write(`${JSON.stringify(changes, null, 2)}\n`);
        else {
          for (const { groupId, atS, byRole, byName, action, isUndone } of changes) {
            const who = [byName, byRole].filter(Boolean).join(', ');
            const undone = isUndone ? '  (undone)' : '';
            surroundings.stdout.write(`${groupId}  ${instantText(atS, 'UTC')} UTC  ${who}: ${action}${undone}\n`);
          }
          if (changes.length === 0) surroundings.stdout.write('Nothing was changed yet.\n');
        }
      }),
    );
  sessions
    .command('undo')
    .summary('undo a change; the last one of a person, without an id')
    .argument('[change]', 'id, or its beginning, as "changes" lists them')
    .action((word: string | undefined) =>
      withClub(surroundings, async (store) => {
        const changes = await store.edits.latest(1000);
        const last = changes.find(({ byName, isUndone }) => !isUndone && !programNames.includes(byName));
        if (word === undefined && !last) throw new UsageError('there is no change to undo');
        const meant = word === undefined ? last : findOne('change', changes.map(withId), word, ({ id }) => id);
        if (!meant) return;
        await store.edits.undo(commandLine, meant.groupId);
        surroundings.stdout.write(`Undone: ${meant.action}.\n`);
      }),
    );
}

/** Changes of the program itself, such as the start of a session. */
const programNames: readonly string[] = ['service', 'recovery'];

function withId<Change extends { readonly groupId: string }>(change: Change): Change & { readonly id: string } {
  return { ...change, id: change.groupId };
}

function withRange(command: Command): Command {
  return command
    .option('--from <number>', 'first shot, as "show" counts them', wholeNumberWithin(1, 1_000_000), 1)
    .option('--to <number>', 'last shot', wholeNumberWithin(1, 1_000_000), 1_000_000);
}

async function shotsOf(store: ClubStore, word: string, from: number, to: number): Promise<string[]> {
  const { id } = await findSession(store, word);
  const meant = await store.shots.range(id, from, to);
  if (meant.length === 0) throw new UsageError(`the session has no shot from number ${from} to ${to}`);
  return meant;
}
