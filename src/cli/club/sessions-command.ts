import type { Command } from 'commander';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { Session, SessionLine } from '../../sessions/database/session-records.ts';
import type { StoredShot } from '../../sessions/database/shot-records.ts';
import { wholeNumberWithin } from '../option-values.ts';
import type { Surroundings } from '../surroundings.ts';
import { shotLines } from '../table/analysis-text.ts';
import { layOutTable } from '../table/text-width.ts';
import { commandLine, findOne, withClub } from './open-club.ts';
import { findPlayer } from './players-command.ts';

/** Sessions that are looked through for the beginning of an id. */
const searched = 1000;

/** Adds `sessions` to the program. */
export function addSessionsCommand(program: Command, surroundings: Surroundings): void {
  const sessions = program.command('sessions').summary('practices that the service kept');
  sessions
    .command('list', { isDefault: true })
    .summary('list the sessions, newest first')
    .option('--limit <count>', 'how many', wholeNumberWithin(1, 1000), 20)
    .option('--json', 'print JSON')
    .action(({ limit, json }: { limit: number; json?: true }) =>
      withClub(surroundings, async (store) => {
        const lines = await store.sessions.list({ limit });
        surroundings.stdout.write(
          json ? `${JSON.stringify(lines.map(withoutClub), null, 2)}\n` : listText(lines, surroundings),
        );
      }),
    );
  sessions
    .command('show')
    .summary('show the shots of a session')
    .argument('<session>', 'id, or its beginning; "last" is the newest')
    .option('--json', 'print JSON')
    .action((word: string, { json }: { json?: true }) =>
      withClub(surroundings, async (store) => {
        const session = await findSession(store, word);
        const shots = await store.shots.list({ sessionId: session.id, limit: 10_000 });
        surroundings.stdout.write(
          json
            ? `${JSON.stringify({ session: withoutClub(session), shots: shots.map(withoutClub) }, null, 2)}\n`
            : await showText(store, session, shots, surroundings),
        );
      }),
    );
  for (const [verb, starred, done] of [
    ['star', true, 'Its recording is never deleted by age.'],
    ['unstar', false, 'Its recording may be deleted by age.'],
  ] as const) {
    sessions
      .command(verb)
      .summary(starred ? 'keep the recording of a session for good' : 'take the star away')
      .argument('<session>', 'id, or its beginning; "last" is the newest')
      .action((word: string) =>
        withClub(surroundings, async (store) => {
          const { id } = await findSession(store, word);
          await store.sessions.change(commandLine, id, { starred });
          surroundings.stdout.write(`${done}\n`);
        }),
      );
  }
  sessions
    .command('assign')
    .summary('give the shots of a session to a player')
    .argument('<session>', 'id, or its beginning; "last" is the newest')
    .argument('<player>', 'name or id')
    .option('--from <number>', 'first shot, as "show" counts them', wholeNumberWithin(1, 100_000), 1)
    .option('--to <number>', 'last shot', wholeNumberWithin(1, 100_000), 100_000)
    .action((word: string, player: string, { from, to }: { from: number; to: number }) =>
      withClub(surroundings, async (store) => {
        const session = await findSession(store, word);
        const { id, pseudonym } = await findPlayer(store, player);
        const shots = await store.shots.list({ sessionId: session.id, limit: 10_000 });
        const meant = shots.slice(from - 1, to).map((shot) => shot.id);
        await store.shots.assign(commandLine, meant, id);
        surroundings.stdout.write(`${meant.length} shots are now ${pseudonym}'s.\n`);
      }),
    );
}

/** @throws UsageError when no session or more than one fits. */
export async function findSession(store: ClubStore, word: string): Promise<Session> {
  const sessions = await store.sessions.list({ limit: searched });
  const [newest] = sessions;
  if (word === 'last' && newest) return newest;
  return findOne('session', sessions, word, ({ name }) => name);
}

function withoutClub<Row extends { readonly club_id: string }>({ club_id: _, ...row }: Row): Omit<Row, 'club_id'> {
  return row;
}

function listText(lines: readonly SessionLine[], { widthColumns }: Surroundings): string {
  if (lines.length === 0) return 'No sessions yet. "seamwise serve" keeps one whenever a sensor sends.\n';
  const column = (title: string, cell: (line: SessionLine) => string) => ({ title, cells: lines.map(cell) });
  const table = layOutTable(
    column('started', (line) => instantText(line.started_s, line.time_zone)),
    [
      column('min', ({ started_s, ended_s }) => (ended_s === null ? 'runs' : ((ended_s - started_s) / 60).toFixed(0))),
      column('shots', ({ shotCount }) => String(shotCount)),
      column('sets', ({ setCount }) => String(setCount)),
      column('name', ({ name }) => name),
      column('', ({ simulated, starred }) =>
        [simulated ? 'simulated' : '', starred ? 'starred' : ''].filter(Boolean).join(', '),
      ),
      column('id', ({ id }) => id),
    ],
    widthColumns,
  );
  return `${table.join('\n')}\n`;
}

async function showText(
  store: ClubStore,
  session: Session,
  shots: readonly StoredShot[],
  { widthColumns }: Surroundings,
): Promise<string> {
  const names = new Map((await store.players.list()).map(({ id, pseudonym }) => [id, pseudonym]));
  const head = [
    `${session.name || 'Session'} of ${instantText(session.started_s, session.time_zone)}, ${shots.length} shots${session.simulated ? ', simulated' : ''}`,
  ];
  if (shots.length === 0) return `${head[0]}\n`;
  const column = (title: string, cell: (shot: StoredShot, index: number) => string) => ({
    title,
    cells: shots.map(cell),
  });
  const told = layOutTable(
    column('shot', (_, index) => String(index + 1)),
    [
      column('at', ({ at_s }) => instantText(at_s, session.time_zone).slice(11)),
      column('player', ({ player_id }) => (player_id === null ? '–' : (names.get(player_id) ?? '–'))),
      column('outcome', ({ outcome, miss_side }) => [outcome, miss_side ?? ''].filter(Boolean).join(' ')),
    ],
    widthColumns,
  );
  const measured = shotLines({ shots: shots.map(({ result }) => result.shot) }, widthColumns);
  return `${[...head, '', ...told, '', ...measured].join('\n')}\n`;
}

/** @returns date and time of a clock on the wall there, `2026-11-25 14:03:07`. */
export function instantText(atS: number, timeZone: string): string {
  const format = new Intl.DateTimeFormat('sv-SE', { timeZone, dateStyle: 'short', timeStyle: 'medium' });
  return format.format(new Date(atS * 1000));
}
