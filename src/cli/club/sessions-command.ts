import path from 'node:path';
import type { Command } from 'commander';
import { recordingBytes } from '../../server/practice/keep-recordings.ts';
import { recordingsFolder } from '../../server/practice/practice-keeper.ts';
import { wholeNumberWithin } from '../option-values.ts';
import type { Surroundings } from '../surroundings.ts';
import { addEditCommands } from './edit-commands.ts';
import { addKeepCommand } from './keep-command.ts';
import { commandLine, withClub } from './open-club.ts';
import { findSession, listText, showText, withoutClub } from './session-text.ts';

/** Adds `sessions` to the program. */
export function addSessionsCommand(program: Command, surroundings: Surroundings): void {
  const sessions = program.command('sessions').summary('practices that the service kept');
  sessions
    .command('list', { isDefault: true })
    .summary('list the sessions, newest first')
    .option('--limit <count>', 'how many', wholeNumberWithin(1, 1000), 20)
    .option('--json', 'print JSON')
    .action(({ limit, json }: { limit: number; json?: true }) =>
      withClub(surroundings, async (store, dataFolder) => {
        const folder = path.join(dataFolder, recordingsFolder);
        const lines = (await store.sessions.list({ limit })).map((line) => ({
          ...line,
          recordingBytes: line.recording === null ? null : recordingBytes(folder, line.recording),
        }));
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
        const shots = await store.shots.all({ sessionId: session.id });
        const sets = await store.sessions.sets(session.id);
        const marks = await store.marks.list(session.id);
        const parts = { sets: sets.map(withoutClub), marks: marks.map(withoutClub), shots: shots.map(withoutClub) };
        surroundings.stdout.write(
          json
            ? `${JSON.stringify({ session: withoutClub(session), ...parts }, null, 2)}\n`
            : await showText(store, session, shots, sets, marks, surroundings),
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
  addEditCommands(sessions, surroundings);
  addKeepCommand(sessions, surroundings);
}
