import { randomInt } from 'node:crypto';
import path from 'node:path';
import type { Command } from 'commander';
import type { ShotFilter } from '../../sessions/database/shot-records.ts';
import { exportShots } from '../../sessions/exchange/export/export-shots.ts';
import type { DefinedMeasure } from '../../sessions/exchange/export/shot-columns.ts';
import { measureDefinitions } from '../../shots/measure-definitions.ts';
import { shotMeasureNames } from '../../shots/shot.ts';
import type { Surroundings } from '../surroundings.ts';
import { UsageError } from '../usage-error.ts';
import { readVersion } from '../version.ts';
import { withClub } from './open-club.ts';
import { findPlayer } from './players-command.ts';
import { findSession } from './session-text.ts';

interface ExportWords {
  readonly player?: string;
  readonly session?: string;
  readonly from?: Date;
  readonly until?: Date;
  readonly condition?: { readonly factor: string; readonly level: string };
  readonly key?: string;
  readonly realTime?: true;
  readonly json?: true;
}

/** A practice some years back or forth is as good as any other; days and weekdays are not told by it. */
const mostShiftDays = 3650;

export const definedMeasures: readonly DefinedMeasure[] = shotMeasureNames.map((name) => ({
  name,
  ...measureDefinitions[name],
}));

/** Adds `export` to the program. */
export function addExportCommand(program: Command, surroundings: Surroundings): void {
  program
    .command('export')
    .summary('write shots as tables for a researcher')
    .description(
      'Writes shots as CSV and Parquet with a dictionary of the columns, under names made for this export and with all ' +
        'instants moved by one shift. Shots of players who have not agreed to an export are left out.',
    )
    .argument('<folder>', 'folder to make')
    .option('--player <player>', 'shots of this player alone')
    .option('--session <session>', 'shots of this session alone; "last" is the newest')
    .option('--from <date>', 'shots from this day on, 2026-03-01', dayOf)
    .option('--until <date>', 'shots before this day', dayOf)
    .option('--condition <factor=level>', 'shots of sets with this condition, such as footwork=hop', conditionOf)
    .option('--key <file>', 'write the key between names here and in the export into this file; keep it apart')
    .option('--real-time', 'leave the instants as they are')
    .option('--json', 'print what was written as JSON')
    .action((folder: string, words: ExportWords) =>
      withClub(surroundings, async (store) => {
        const filter: ShotFilter = {
          ...(words.player !== undefined && { playerId: (await findPlayer(store, words.player)).id }),
          ...(words.session !== undefined && { sessionId: (await findSession(store, words.session)).id }),
          ...(words.from && { fromS: words.from.getTime() / 1000 }),
          ...(words.until && { untilS: words.until.getTime() / 1000 }),
          ...(words.condition && { factor: words.condition }),
        };
        const report = await exportShots(store, {
          folder: path.resolve(folder),
          filter,
          measures: definedMeasures,
          version: readVersion(),
          shiftS: words.realTime ? 0 : randomInt(-mostShiftDays * 86_400, mostShiftDays * 86_400),
          keyFile: words.key === undefined ? null : path.resolve(words.key),
        });
        const { shotCount, playerCount, sessionCount, withheldCount, files } = report;
        if (words.json) {
          surroundings.stdout.write(`${JSON.stringify(report, null, 2)}\n`);
          return;
        }
        surroundings.stdout.write(
          `${shotCount} shots of ${sessionCount} sessions and ${playerCount} named players in ${folder}: ${files.join(', ')}.\n` +
            (withheldCount > 0
              ? `${withheldCount} shots are left out: their players have not agreed to an export.\n`
              : '') +
            'The data are pseudonymous, not anonymous: treat them as personal.\n',
        );
      }),
    );
}

function dayOf(text: string): Date {
  const date = new Date(`${text}T00:00:00Z`);
  if (!/^\d{4}-\d{2}-\d{2}$/.test(text) || Number.isNaN(date.getTime())) {
    throw new UsageError(`"${text}" is no day: expected year-month-day, such as 2026-03-01`);
  }
  return date;
}

function conditionOf(text: string): { factor: string; level: string } {
  const [factor = '', level = '', ...rest] = text.split('=').map((part) => part.trim());
  if (factor === '' || level === '' || rest.length > 0) {
    throw new UsageError(`"${text}" is no condition: expected factor=level, such as footwork=hop`);
  }
  return { factor, level };
}
