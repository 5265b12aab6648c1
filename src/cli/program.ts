import { Command, CommanderError } from 'commander';
import { SeamwiseError } from '../foundation/errors.ts';
import { UnreadableRecordingError } from '../sessions/unreadable.ts';
import { addAnalyzeCommand } from './analyze/analyze-command.ts';
import { addSchemaCommand } from './analyze/schema-command.ts';
import { addBackupCommands } from './club/backup-command.ts';
import { addExportCommand } from './club/export-command.ts';
import { addImportCommand } from './club/import-command.ts';
import { addPlayersCommand } from './club/players-command.ts';
import { addReanalyzeCommand } from './club/reanalyze-command.ts';
import { addReportCommand } from './club/report-command.ts';
import { addSessionsCommand } from './club/sessions-command.ts';
import { addHubCommand } from './hub/hub-command.ts';
import { NoBluetoothError } from './sensors/no-bluetooth-error.ts';
import { addSensorsCommand } from './sensors/sensors-command.ts';
import { WrongSensorError } from './sensors/wrong-sensor-error.ts';
import { addServeCommand } from './serve-command.ts';
import { addSimulateCommand } from './simulate/simulate-command.ts';
import { addStudyCommand } from './study/study-command.ts';
import type { Surroundings } from './surroundings.ts';
import { UsageError } from './usage-error.ts';
import { readVersion } from './version.ts';
import { addSpinReferenceCommand } from './wrist/spin-reference-command.ts';

/** How the program ends. */
export const exitCodes = { done: 0, failed: 1, usage: 2, noBluetooth: 3, wrongSensor: 4 } as const;

/**
 * Runs one command.
 *
 * @param words what the person typed, without program and script.
 * @returns the exit code: 0 done (also with no shot found), 1 unreadable or failed, 2 wrong usage, 3 no Bluetooth here,
 *   4 something is wrong with a sensor.
 */
export async function runSeamwise(words: readonly string[], surroundings: Surroundings): Promise<number> {
  const program = new Command('seamwise')
    .description('Finds, measures and explains basketball shots from an inertial sensor.')
    .version(readVersion(), '--version', 'print the version')
    .helpOption('-h, --help', 'print this help')
    .helpCommand('help [command]', 'print the help of a command')
    .configureOutput({
      writeOut: (text) => surroundings.stdout.write(text),
      writeErr: (text) => surroundings.stderr.write(text),
      getOutHelpWidth: () => surroundings.widthColumns,
      getErrHelpWidth: () => surroundings.widthColumns,
    })
    .exitOverride()
    .showHelpAfterError('(add --help for what can be said here)');
  addAnalyzeCommand(program, surroundings);
  addSimulateCommand(program, surroundings);
  addServeCommand(program, surroundings);
  addSensorsCommand(program, surroundings);
  addSessionsCommand(program, surroundings);
  addPlayersCommand(program, surroundings);
  addImportCommand(program, surroundings);
  addReanalyzeCommand(program, surroundings);
  addExportCommand(program, surroundings);
  addReportCommand(program, surroundings);
  addStudyCommand(program, surroundings);
  addBackupCommands(program, surroundings);
  addHubCommand(program, surroundings);
  addSpinReferenceCommand(program, surroundings);
  addSchemaCommand(program, surroundings);
  try {
    await program.parseAsync([...words], { from: 'user' });
    return exitCodes.done;
  } catch (error) {
    return explain(error, surroundings);
  }
}

function explain(error: unknown, surroundings: Surroundings): number {
  // Commander has said already what is wrong.
  if (error instanceof CommanderError) return error.exitCode === 0 ? exitCodes.done : exitCodes.usage;
  if (error instanceof UsageError) {
    surroundings.stderr.write(`error: ${error.message}\n`);
    return exitCodes.usage;
  }
  if (error instanceof NoBluetoothError) {
    surroundings.stderr.write(`${error.message}\n`);
    return exitCodes.noBluetooth;
  }
  if (error instanceof WrongSensorError) {
    surroundings.stderr.write(`${error.message}\n`);
    return exitCodes.wrongSensor;
  }
  if (error instanceof UnreadableRecordingError) {
    surroundings.stderr.write(`cannot read ${error.message}\n`);
    return exitCodes.failed;
  }
  if (error instanceof SeamwiseError) surroundings.stderr.write(`error: ${error.message}\n`);
  else
    surroundings.stderr.write(
      `unexpected error: ${error instanceof Error ? (error.stack ?? error.message) : String(error)}\n`,
    );
  return exitCodes.failed;
}
