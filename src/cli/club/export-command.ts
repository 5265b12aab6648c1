import { randomInt } from 'node:crypto';
import path from 'node:path';
import type { Command } from 'commander';
import { sensorSetup } from '../../server/analysis/sensor-setups.ts';
import { recordingsFolder } from '../../server/practice/practice-keeper.ts';
import { recordedSamples } from '../../server/recorded-samples.ts';
import { spinReferenceFile } from '../../server/spin-references.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import { type ExportOptions, type ExportReport, exportClub } from '../../sessions/exchange/export/export-club.ts';
import type { DefinedMeasure } from '../../sessions/exchange/export/shot-columns.ts';
import { instantInZone, requireTimeZone, ZonedTimeError } from '../../sessions/exchange/zoned-time.ts';
import { JsonSensorCalibrations } from '../../sessions/sensor-calibrations.ts';
import { JsonWristCalibrationStore } from '../../sessions/wrist-calibration/json-wrist-calibration-store.ts';
import { measureDefinitions } from '../../shots/measure-definitions.ts';
import { shotMeasureNames } from '../../shots/shot.ts';
import { Progress } from '../progress.ts';
import type { Surroundings } from '../surroundings.ts';
import { UsageError } from '../usage-error.ts';
import { readVersion } from '../version.ts';
import { findOne, withClub } from './open-club.ts';
import { findPlayer } from './players-command.ts';
import { findSession } from './session-text.ts';

interface ExportWords {
  readonly player?: string;
  readonly session?: string;
  readonly set?: string;
  readonly from?: string;
  readonly until?: string;
  readonly timeZone?: string;
  readonly condition?: { readonly factor: string; readonly level: string };
  readonly samples?: true;
  readonly bids?: true;
  readonly raw?: true;
  readonly unnamed?: true;
  readonly key?: string;
  readonly shiftPerPlayer?: true;
  readonly realTime?: true;
  readonly json?: true;
}

export const definedMeasures: readonly DefinedMeasure[] = shotMeasureNames.map((name) => ({
  name,
  ...measureDefinitions[name],
}));

const uniformSteps = 2 ** 47;

const help = `
What goes out is pseudonymous, not anonymous: without names, notes, radio addresses, serial numbers and other players'
channels, and with all instants moved. Only players who agreed ("seamwise players consent <player> export --by <who>")
are in it. The key, if you ask for one, has to be kept apart.

Examples:
  seamwise export out --condition footwork=hop
  seamwise export out --player "Player 07" --samples --bids --raw --key ../key.json
`;

/** Adds `export` to the program. */
export function addExportCommand(program: Command, surroundings: Surroundings): void {
  program
    .command('export')
    .summary('write shots and recordings for a researcher')
    .description(
      'Writes shots, sets and marks as CSV and Parquet with a dictionary of the columns; on request the samples, a BIDS folder and raw recordings too.',
    )
    .argument('<folder>', 'folder to make')
    .option('--player <player>', 'shots of this player alone')
    .option('--session <session>', 'shots of this session alone; "last" is the newest')
    .option('--set <set>', 'shots of this set of the session alone, by its name or id')
    .option('--from <date>', 'shots from this day on, 2026-03-01')
    .option('--until <date>', 'shots before this day')
    .option('--time-zone <zone>', 'where these days begin, such as Europe/Berlin; without it: the zone of this machine')
    .option('--condition <factor=level>', 'shots of sets with this condition, such as footwork=hop', conditionOf)
    .option('--samples', 'add the calibrated readings with attitude, on one clock (CSV and Parquet)')
    .option('--bids', 'add a folder of the Brain Imaging Data Structure, Motion')
    .option('--raw', 'add what the sensors sent, as recordings of their own (MCAP)')
    .option('--unnamed', 'shots that nobody is named for too: only where you know that whoever shot them agreed')
    .option('--key <file>', 'write the key between names here and in the export into this file, outside the folder')
    .option('--shift-per-player', "move each player's instants by a shift of their own")
    .option('--real-time', 'leave the instants as they are')
    .option('--json', 'print what was written as JSON')
    .addHelpText('after', help)
    .action((folder: string, words: ExportWords) =>
      withClub(surroundings, async (store, dataFolder) => {
        if (words.realTime && words.shiftPerPlayer) {
          throw new UsageError("option '--real-time': expected without --shift-per-player, which moves the instants");
        }
        const progress = new Progress(surroundings.stderr);
        const report = await exportClub(store, {
          folder: path.resolve(folder),
          filter: await filterOf(store, words),
          measures: definedMeasures,
          version: readVersion(),
          shift: words.realTime ? 'none' : words.shiftPerPlayer ? 'per-player' : 'one',
          uniform: () => randomInt(uniformSteps) / uniformSteps,
          keyFile: words.key === undefined ? null : path.resolve(words.key),
          withUnnamed: words.unnamed === true,
          recordings: recordingsOf(store, dataFolder, words, surroundings),
          onSession: (done, of) => progress.show(done / of),
        }).finally(() => progress.stop());
        surroundings.stdout.write(words.json ? `${JSON.stringify(report, null, 2)}\n` : reportText(folder, report));
      }),
    );
}

function recordingsOf(
  store: ClubStore,
  dataFolder: string,
  { samples, bids, raw }: ExportWords,
  { stderr }: Surroundings,
): ExportOptions['recordings'] {
  if (!samples && !bids && !raw) return null;
  const source = recordedSamples({
    recordingsFolder: path.join(dataFolder, recordingsFolder),
    setupOf: (sensorId) =>
      sensorSetup(sensorId, {
        calibrations: new JsonSensorCalibrations(dataFolder),
        references: new JsonWristCalibrationStore(path.join(dataFolder, spinReferenceFile)),
        players: store.players,
        onTrouble: (_, why) => stderr.write(`warning: a sensor goes on without calibration or references: ${why}\n`),
      }),
  });
  return { source, samples: samples === true, bids: bids === true, raw: raw === true };
}

async function filterOf(store: ClubStore, words: ExportWords): Promise<ExportOptions['filter']> {
  const { player, session, set, condition } = words;
  if (set !== undefined && session === undefined) {
    throw new UsageError("option '--set': expected with --session, for a set is one of a session");
  }
  const sessionId = session === undefined ? null : (await findSession(store, session)).id;
  const [from, until] = [dayOf('--from', words.from, words), dayOf('--until', words.until, words)];
  if (from !== null && until !== null && !(from < until)) {
    throw new UsageError(`option '--until' is ${words.until}: expected a day after --from, ${words.from}`);
  }
  return {
    ...(player !== undefined && { playerId: (await findPlayer(store, player)).id }),
    ...(sessionId !== null && { sessionId }),
    ...(sessionId !== null &&
      set !== undefined && {
        setId: findOne('set', await store.sessions.sets(sessionId), set, ({ name }) => name).id,
      }),
    ...(from !== null && { fromS: from }),
    ...(until !== null && { untilS: until }),
    ...(condition && { factor: condition }),
  };
}

function dayOf(option: string, text: string | undefined, { timeZone }: ExportWords): number | null {
  if (text === undefined) return null;
  if (!/^\d{4}-\d{2}-\d{2}$/.test(text)) {
    throw new UsageError(`option '${option}': "${text}" is no day: expected year-month-day, such as 2026-03-01`);
  }
  try {
    const zone = timeZone === undefined ? Intl.DateTimeFormat().resolvedOptions().timeZone || 'UTC' : timeZone;
    return instantInZone(text, requireTimeZone(zone));
  } catch (error) {
    if (error instanceof ZonedTimeError) throw new UsageError(`option '${option}': ${error.message}`);
    throw error;
  }
}

function reportText(folder: string, report: ExportReport): string {
  const { shotCount, sessionCount, playerCount, sampleCount, files, withheldCount, unnamedCount, troubles } = report;
  const samples = sampleCount > 0 ? `, ${sampleCount} samples` : '';
  const left = (count: number, why: string) => (count > 0 ? [`${count} shots are left out: ${why}.`] : []);
  return [
    `${shotCount} shots of ${sessionCount} sessions and ${playerCount} named players${samples} in ${folder}:`,
    ...listed(files),
    ...(shotCount + withheldCount + unnamedCount === 0 ? ['No shot fits what was asked for.'] : []),
    ...left(withheldCount, 'their players have not agreed to an export ("seamwise players consent <player> export")'),
    ...left(
      unnamedCount,
      'nobody is named for them; assign them, or say --unnamed if you know that whoever shot agreed',
    ),
    ...troubles.map((trouble) => `Note: ${trouble}.`),
    'The data are pseudonymous, not anonymous: treat them as personal.',
    '',
  ].join('\n');
}

/** One line for a table, which stands in two files. */
function listed(files: readonly string[]): string[] {
  const tables = new Set(files.filter((file) => file.endsWith('.parquet')).map((file) => file.replace('.parquet', '')));
  return files.flatMap((file) => {
    const stem = file.replace(/\.(csv|parquet)$/, '');
    if (!tables.has(stem)) return [`  ${file}`];
    return file.endsWith('.csv') ? [`  ${stem} (.csv, .parquet)`] : [];
  });
}

function conditionOf(text: string): { factor: string; level: string } {
  const [factor = '', level = '', ...rest] = text.split('=').map((part) => part.trim());
  if (factor === '' || level === '' || rest.length > 0) {
    throw new UsageError(`"${text}" is no condition: expected factor=level, such as footwork=hop`);
  }
  return { factor, level };
}
