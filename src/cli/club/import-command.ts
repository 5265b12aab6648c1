import { readFileSync } from 'node:fs';
import path from 'node:path';
import { type Command, Option } from 'commander';
import { SeamwiseError } from '../../foundation/errors.ts';
import { type CsvMapping, parseCsvMapping } from '../../sessions/exchange/csv-mapping.ts';
import { instantInZone, requireTimeZone, ZonedTimeError } from '../../sessions/exchange/zoned-time.ts';
import { type ArmMount, armMounts } from '../../shots/shot.ts';
import { addBallOptions, type BallWords, toBallSettings } from '../ball-options.ts';
import { numberWithin } from '../option-values.ts';
import type { Surroundings } from '../surroundings.ts';
import { UsageError } from '../usage-error.ts';
import { type CsvSource, importFiles, type KeptImport } from './import-files.ts';
import { withClub } from './open-club.ts';
import { findPlayer } from './players-command.ts';
import { instantText } from './session-text.ts';

interface ImportWords extends BallWords {
  readonly placement?: readonly ('ball' | 'wrist')[];
  readonly mount?: ArmMount;
  readonly mapping?: readonly string[];
  readonly filterDelay?: readonly number[];
  readonly player?: string;
  readonly started?: string;
  readonly timeZone?: string;
  readonly name?: string;
  readonly json?: true;
}

const help = `
Several CSV files become one session; --placement is then said once for each, in their order, and t_s has to be of
one clock in all of them. A sensor in the ball and one on the arm are put together: each shot once.

A mapping file says which columns of a foreign CSV file hold what, and in which unit:
  { "version": 1,
    "time":  { "column": "Timestamp", "unit": "ms" },
    "accel": { "columns": ["Acc X", "Acc Y", "Acc Z"], "unit": "g" },
    "gyro":  { "columns": ["Gyr X", "Gyr Y", "Gyr Z"], "unit": "dps", "scale": [1, -1, 1], "offset": 0 } }
Units: time s, ms, us, ns; accel mps2, g, mg, cmps2; gyro radps, mradps, dps, mdps, revps, rpm. "gyro", "scale" and "offset"
may be left out; a number of the file counts as number x scale + offset, and a scale of -1 turns an axis around.

Examples:
  seamwise import practice.mcap --player "Player 07"
  seamwise import ball.csv arm.csv --placement ball --placement wrist --started 2026-11-20T18:00 --time-zone Europe/Berlin
  seamwise import foreign.csv --mapping columns.json --placement ball
`;

/** Adds `import` to the program. */
export function addImportCommand(program: Command, surroundings: Surroundings): void {
  const command = program
    .command('import')
    .summary('keep recordings as a session, with its shots')
    .description(
      'Analyses recordings as "analyze" does and keeps them as one session. A .mcap recording is copied into the data folder, so that it can be analysed again; of CSV files the shots are kept. All is taken or nothing.',
    )
    .argument('<files...>', 'one .mcap recording, or one or more CSV recordings of one practice')
    .addOption(
      new Option('--placement <where>', 'where the sensor of a CSV file was; once for each file')
        .choices(['ball', 'wrist'])
        .argParser((text, before: readonly string[] = []) => [...before, oneOf(text, ['ball', 'wrist'])]),
    )
    .addOption(
      new Option('--mount <where>', 'where on the arm the sensor of a CSV file was worn, if known').choices([
        ...armMounts,
      ]),
    )
    .option(
      '--mapping <file>',
      'JSON file that says which columns of a foreign CSV file are what; once for all files, or for each',
      (text: string, before: readonly string[] = []) => [...before, text],
    )
    .option('--player <player>', 'whose shots they are')
    .option(
      '--started <time>',
      "when t_s was 0: 2026-11-20T18:00 as a clock there showed it, or with its offset, 2026-11-20T18:00+01:00; without it: the file's own date, or t_s itself where that counts from 1970",
    )
    .option('--time-zone <zone>', 'zone of the place, such as Europe/Berlin; without it: that of this machine')
    .option('--name <name>', 'name of the session');
  const delay = numberWithin(0, 1000, 'ms', '2.5');
  addBallOptions(command)
    .option(
      '--filter-delay <ms>',
      "delay of the sensor's own low-pass filter, ms; for CSV, once for all files, or for each",
      (text: string, before: readonly number[] = []) => [...before, delay(text)],
    )
    .option('--json', 'print what was kept as JSON')
    .addHelpText('after', help)
    .action((files: string[], words: ImportWords) =>
      withClub(surroundings, async (store, dataFolder) => {
        const timeZone = zoneOf(words);
        const startedS = words.started === undefined ? null : startOf(words.started, timeZone);
        const told = (option: string) => command.getOptionValueSource(option) === 'cli';
        const said = toBallSettings(words);
        const kept = await importFiles(
          store,
          dataFolder,
          files.map((file) => path.resolve(file)),
          {
            settings: said,
            // What the person did not say may stand in the recording.
            saidSettings: {
              ...(told('ball') && { ballSize: said.ballSize }),
              ...(told('hoop') && { hoopHeightM: said.hoopHeightM }),
              ...(told('releaseHeight') && { releaseHeightM: said.releaseHeightM }),
              ...(told('distance') && { distanceM: said.distanceM }),
            },
            sources: sourcesOf(files.length, words),
            playerId: words.player === undefined ? null : (await findPlayer(store, words.player)).id,
            startedS,
            timeZone,
            name: words.name ?? null,
            csvWords: wordsForCsv(words),
            stderr: surroundings.stderr,
          },
        );
        surroundings.stdout.write(words.json ? `${JSON.stringify(kept, null, 2)}\n` : keptText(kept));
      }),
    );
}

function keptText({ shotCount, startedAtS, timeZone, startFrom, mergedCount, warnings }: KeptImport): string {
  const merged = mergedCount > 0 ? `, ${mergedCount} of them seen by both sensors` : '';
  const start = `${instantText(startedAtS, timeZone)} (${timeZone})`;
  const guessed = startFrom === 'file-date' ? ', the date of the file: say --started where that is wrong' : '';
  return [
    `${shotCount} shots are kept as a session${merged}; "seamwise sessions" lists it.`,
    `It started ${start}${guessed}.`,
    ...warnings.map((warning) => `Note: ${warning}`),
    '',
  ].join('\n');
}

/** Options that a .mcap recording answers itself. */
function wordsForCsv(words: ImportWords): readonly string[] {
  const said = [
    ['--placement', words.placement],
    ['--mount', words.mount],
    ['--mapping', words.mapping],
    ['--filter-delay', words.filterDelay],
    ['--started', words.started],
  ] as const;
  return said.flatMap(([option, value]) => (value === undefined ? [] : [option]));
}

function sourcesOf(count: number, { placement, mount, mapping, filterDelay }: ImportWords): CsvSource[] {
  const perFile = <Value>(
    option: string,
    values: readonly Value[] | undefined,
    isOneForAll: boolean,
  ): (Value | null)[] => {
    if (values === undefined) return Array(count).fill(null);
    const [first] = values;
    if (isOneForAll && values.length === 1 && first !== undefined) return Array(count).fill(first);
    if (values.length === count) return [...values];
    throw new UsageError(
      `option '${option}' is said ${values.length} times: expected it ${isOneForAll ? 'once, or ' : ''}once for each of the ${count} files, in their order`,
    );
  };
  const placements = perFile('--placement', placement, false);
  const mappings = perFile('--mapping', mapping, true).map((file) => (file === null ? null : readMapping(file)));
  const delays = perFile('--filter-delay', filterDelay, true);
  return placements.map((place, at) => ({
    placement: place,
    mount: place === 'wrist' ? (mount ?? null) : null,
    mapping: mappings[at] ?? null,
    filterDelayS: delays[at] === null || delays[at] === undefined ? null : delays[at] / 1000,
  }));
}

function readMapping(file: string): CsvMapping {
  let text: string;
  try {
    text = readFileSync(file, 'utf8');
  } catch (error) {
    const why = error instanceof Error ? error.message : String(error);
    throw new SeamwiseError('mapping-file', `mapping file ${file} cannot be read: ${why}. Check the name.`);
  }
  return parseCsvMapping(text, file);
}

function zoneOf({ timeZone }: ImportWords): string {
  if (timeZone === undefined) return Intl.DateTimeFormat().resolvedOptions().timeZone || 'UTC';
  return asUsage('--time-zone', () => requireTimeZone(timeZone));
}

function startOf(started: string, timeZone: string): number {
  return asUsage('--started', () => instantInZone(started, timeZone));
}

function asUsage<Result>(option: string, work: () => Result): Result {
  try {
    return work();
  } catch (error) {
    if (error instanceof ZonedTimeError) throw new UsageError(`option '${option}': ${error.message}`);
    throw error;
  }
}

function oneOf(text: string, choices: readonly string[]): string {
  if (choices.includes(text)) return text;
  throw new UsageError(`option '--placement' is ${text}: expected ${choices.join(' or ')}`);
}
