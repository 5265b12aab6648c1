import { closeSync, fsyncSync, openSync, writeSync } from 'node:fs';
import path from 'node:path';
import { type Command, Option } from 'commander';
import { systemClock } from '../../devices/system-clock.ts';
import { SeamwiseError } from '../../foundation/errors.ts';
import { playerReport } from '../../reports/player-report.ts';
import { type Audience, audiences } from '../../reports/report-input.ts';
import { sessionReport } from '../../reports/session-report.ts';
import { studyReport } from '../../reports/study-report.ts';
import { playerReportData, type ReportRequest, sessionReportData } from '../../server/reports/report-data.ts';
import { comparedReport } from '../../server/reports/study-report-data.ts';
import { addCompareOptions, type CompareWords, comparedSets } from '../study/compared-sets.ts';
import type { Surroundings } from '../surroundings.ts';
import { readVersion } from '../version.ts';
import { withClub } from './open-club.ts';
import { findPlayer } from './players-command.ts';
import { findSession } from './session-text.ts';

interface ReportWords {
  readonly for: Audience;
  readonly out?: string;
  readonly player?: string;
}

interface StudyWords extends CompareWords {
  readonly for: Audience;
  readonly out?: string;
  readonly csv?: string;
}

/** Adds `report` to the program. */
export function addReportCommand(program: Command, surroundings: Surroundings): void {
  const report = program
    .command('report')
    .summary('a practice, a player over time, or a study, as one printable HTML file');
  const reader = () => new Option('--for <reader>', 'who reads it').choices([...audiences]).default('coach');
  report
    .command('session')
    .summary('a practice')
    .argument('<session>', 'id, or its beginning; "last" is the newest')
    .addOption(reader())
    .option('--player <player>', 'shots of this player alone')
    .option('--out <file>', 'file to make; without it one in this folder, named after the practice')
    .action((word: string, { for: audience, out, player }: ReportWords) =>
      withClub(surroundings, async (store) => {
        const session = await findSession(store, word);
        const playerId = player === undefined ? null : (await findPlayer(store, player)).id;
        const data = await sessionReportData(store, session.id, playerId, requestFor(audience));
        const day = new Date(1000 * session.started_s).toISOString().slice(0, 10);
        write(out ?? `practice-${day}-${session.id.slice(-6)}-${audience}.html`, sessionReport(data), surroundings);
      }),
    );
  report
    .command('player')
    .summary('a player over time')
    .argument('<player>', 'the player')
    .addOption(reader())
    .option('--out <file>', 'file to make; without it one in this folder, named after the player')
    .action((word: string, { for: audience, out }: ReportWords) =>
      withClub(surroundings, async (store) => {
        const player = await findPlayer(store, word);
        const data = await playerReportData(store, player.id, requestFor(audience));
        write(out ?? `${fileWord(player.pseudonym)}-${audience}.html`, playerReport(data), surroundings);
      }),
    );
  const study = report
    .command('study')
    .summary('conditions compared: a planned study, kept sets of a condition, or a CSV file of sets')
    .argument('[study]', 'name of a planned study, or its id')
    .option('--csv <file>', 'sets of a file: player,day,condition,attempted,made,outcomes')
    .addOption(reader())
    .option('--out <file>', 'file to make; without it one in this folder, named after the study');
  addCompareOptions(study).action(
    async (word: string | undefined, { csv, out, for: audience, ...words }: StudyWords) => {
      const compared = await comparedSets(
        { ...words, file: csv, ...(word !== undefined && { study: word }) },
        surroundings,
      );
      const text = studyReport(comparedReport(compared, requestFor(audience)));
      write(out ?? `study-${fileWord(compared.name)}-${audience}.html`, text, surroundings);
    },
  );
}

function fileWord(name: string): string {
  return name.replace(/[^\p{L}\p{N}_-]+/gu, '-');
}

function requestFor(audience: Audience): ReportRequest {
  return {
    audience,
    madeS: systemClock.nowS(),
    timeZone: new Intl.DateTimeFormat().resolvedOptions().timeZone,
    programVersion: readVersion(),
  };
}

/** Never over a file that is there. */
function write(file: string, text: string, { stdout }: Surroundings): void {
  const target = path.resolve(file);
  try {
    const descriptor = openSync(target, 'wx');
    try {
      writeSync(descriptor, text);
      fsyncSync(descriptor);
    } finally {
      closeSync(descriptor);
    }
  } catch (error) {
    const { code, message } = error as NodeJS.ErrnoException;
    const why = code === 'EEXIST' ? 'it is there already. Name a new file with --out' : message;
    throw new SeamwiseError('output-not-written', `${target} was not written: ${why}`);
  }
  stdout.write(`${target}\n`);
}
