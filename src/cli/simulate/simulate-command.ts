import path from 'node:path';
import type { Command } from 'commander';
import { wristScenarioNames, wristScenarios } from '../../simulate/arm/wrist-scenarios.ts';
import { scenarioNames, scenarios } from '../../simulate/scenarios.ts';
import { wholeNumberWithin } from '../option-values.ts';
import type { Surroundings } from '../surroundings.ts';
import { wrapText } from '../table/text-width.ts';
import { UsageError } from '../usage-error.ts';
import { makeFolder, writeScenario } from './write-scenario.ts';

interface SimulateWords {
  readonly scenario?: string;
  readonly seed: number;
  readonly out?: string;
  readonly list?: true;
}

/** Stands for every scenario; then `--out` is a folder. */
const everyScenario = 'all';

/** Adds `simulate` to the program. */
export function addSimulateCommand(program: Command, surroundings: Surroundings): void {
  program
    .command('simulate')
    .summary('make a recording of a simulated shooter, with the truth beside it')
    .description(
      'Makes a recording of a simulated shooter and, beside it, a file with what truly happened. The same scenario and ' +
        'seed give the same files, bit for bit.',
    )
    .option('--scenario <name>', 'what is played; see --list. "all" writes every one into the folder --out')
    .option(
      '--seed <number>',
      'another number gives another player, ball and sensor',
      wholeNumberWithin(0, 4_294_967_295),
      1,
    )
    .option(
      '--out <file>',
      'recording to write: .mcap (notifications as a sensor sends them) or .csv (two files where there are two sensors)',
    )
    .option('--list', 'print the scenarios')
    .action(async (words: SimulateWords) => {
      if (words.list) surroundings.stdout.write(listText(surroundings.widthColumns));
      else await simulate(words, surroundings);
    });
}

async function simulate({ scenario, seed, out }: SimulateWords, surroundings: Surroundings): Promise<void> {
  const names = allScenarioNames();
  if (scenario === undefined) throw new UsageError('simulate: expected --scenario <name>; --list prints the names');
  if (out === undefined) throw new UsageError('simulate: expected --out <file>, such as --out practice.mcap');
  if (scenario !== everyScenario && !names.includes(scenario)) {
    throw new UsageError(
      `no scenario is called "${scenario}": expected one of ${[...names, everyScenario].join(', ')}`,
    );
  }
  const isRecording = /\.(mcap|csv)$/i.test(out);
  if (scenario !== everyScenario && !isRecording)
    throw new UsageError(`--out ${out}: expected a name that ends in .mcap or .csv`);
  if (scenario === everyScenario && isRecording)
    throw new UsageError(`--out ${out}: expected a folder, for "all" writes many files`);
  const files =
    scenario === everyScenario
      ? names.map((name) => ({ scenario: name, file: path.join(out, `${name}.mcap`) }))
      : [{ scenario, file: out }];
  if (scenario === everyScenario) await makeFolder(out);
  for (const one of files) {
    const { file, truthFile, shots, decoys } = await writeScenario({ ...one, seed });
    surroundings.stdout.write(
      `${file}: ${counted(shots, 'shot')}, ${counted(decoys, 'other act')}; truth in ${truthFile}\n`,
    );
  }
}

/** Every scenario, with a sensor in the ball, on the wrist, or both. */
export function allScenarioNames(): readonly string[] {
  return [...scenarioNames(), ...wristScenarioNames()];
}

function counted(count: number, word: string): string {
  return `${count} ${word}${count === 1 ? '' : 's'}`;
}

function listText(widthColumns: number): string {
  const told = [
    ...scenarios.map(({ name, about }) => `${name}: ${about}`),
    'practice: a mixture of shots and other acts, drawn from the seed',
    ...wristScenarios.map(({ name, about, sensors }) => `${name}: (${sensors}) ${about}`),
  ];
  return `${told.flatMap((line) => wrapText(line, widthColumns, '  ')).join('\n')}\n`;
}
